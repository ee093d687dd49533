package notify

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"net/netip"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"bayround/internal/fault"
	"bayround/internal/notice"
	pb "bayround/proto/bayround/v1"
)

// Subscription is one receiver and what it wants to hear.
type Subscription struct {
	Name    string // names its file of state and its metrics
	URL     *url.URL
	Secrets [][]byte // keys that sign, the newest first; the second while it is exchanged
	Filter  notice.Filter
	Mode    notice.Mode
}

// Bounds of a secret, in bytes, from the Standard Webhooks text, section "Signature scheme".
const (
	shortestSecret = 24
	longestSecret  = 64
	secretPrefix   = "whsec_"
)

// Bounds of the files, in bytes.
const (
	longestFile       = 256 << 10
	longestSecretFile = 1 << 10
)

// mostSubscriptions is how many one file may hold: each has a goroutine of its own.
const mostSubscriptions = 32

// Names and resource names in the file.
var (
	nameForm    = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)
	vehicleForm = regexp.MustCompile(`^vehicles/[a-z0-9]+(-[a-z0-9]+)*$`)
)

// entry is a subscription as it is written.
type entry struct {
	Name       yaml.Node   `yaml:"name"`
	URL        yaml.Node   `yaml:"url"`
	SecretFile yaml.Node   `yaml:"secret_file"`
	Mode       yaml.Node   `yaml:"mode"`
	Plaintext  yaml.Node   `yaml:"plaintext_on_loopback"`
	Vehicles   []yaml.Node `yaml:"vehicles"`
	Kinds      []yaml.Node `yaml:"kinds"`
	Verdicts   []yaml.Node `yaml:"verdicts"`
}

// parser reads a file of subscriptions and collects everything that is wrong.
type parser struct {
	file     string
	secret   func(path string) ([]byte, error)
	problems []string
}

// Load reads a file of subscriptions, and the files of secrets that it names; they lie
// relative to it.
func Load(file string) ([]Subscription, error) {
	content, err := readAtMost(file, longestFile)
	if err != nil {
		return nil, fmt.Errorf("reading the subscriptions: %w", err)
	}
	return Parse(file, content, func(path string) ([]byte, error) {
		if !filepath.IsAbs(path) {
			path = filepath.Join(filepath.Dir(file), path)
		}
		return readSecret(path)
	})
}

// readSecret reads a secret that nobody but its owner may read.
func readSecret(path string) ([]byte, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if others := info.Mode().Perm() & 0o077; others != 0 {
		return nil, fmt.Errorf("others than its owner may open %s; say: chmod 600 %s, and exchange the secret if somebody may have read it", path, path)
	}
	return readAtMost(path, longestSecretFile)
}

func readAtMost(path string, most int64) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer func() { _ = f.Close() }() // nothing was written
	content, err := io.ReadAll(io.LimitReader(f, most+1))
	if err == nil && int64(len(content)) > most {
		return nil, fmt.Errorf("%s is longer than the %d bytes that are read", path, most)
	}
	return content, err
}

// Parse reads subscriptions; file is what they are called in errors, secret reads a
// file of a secret. It refuses with everything that is wrong, each with its line.
func Parse(file string, content []byte, secret func(path string) ([]byte, error)) ([]Subscription, error) {
	p := parser{file: file, secret: secret}
	all := p.read(content)
	if len(p.problems) > 0 {
		return nil, fault.New(fault.Invalid, "SUBSCRIPTIONS_WRONG", "%s", strings.Join(p.problems, "\n"))
	}
	return all, nil
}

func (p *parser) read(content []byte) (all []Subscription) {
	var written struct {
		Subscriptions []yaml.Node `yaml:"subscriptions"`
	}
	decoder := yaml.NewDecoder(bytes.NewReader(content))
	decoder.KnownFields(true)
	if err := decoder.Decode(&written); err != nil && !errors.Is(err, io.EOF) {
		p.problems = append(p.problems, fmt.Sprintf("%s: %v; it must hold: subscriptions: [{name, url, secret_file, mode, vehicles, kinds, verdicts}]", p.file, err))
		return nil
	}
	if err := decoder.Decode(new(yaml.Node)); !errors.Is(err, io.EOF) {
		p.problems = append(p.problems, p.file+": there is something behind the list of subscriptions; take it out")
	}
	if len(written.Subscriptions) > mostSubscriptions {
		p.problems = append(p.problems, fmt.Sprintf("%s: %d subscriptions; %d are the most", p.file, len(written.Subscriptions), mostSubscriptions))
		return nil
	}
	names := map[string]bool{}
	for i := range written.Subscriptions {
		n := &written.Subscriptions[i]
		s := p.subscription(n)
		if names[s.Name] && s.Name != "" {
			p.wrong(n, "the name %q stands here twice; each keeps a place of its own under its name", s.Name)
		}
		names[s.Name] = true
		all = append(all, s)
	}
	return all
}

// wrong notes what is wrong at a node and what would be right.
func (p *parser) wrong(at *yaml.Node, format string, args ...any) {
	p.problems = append(p.problems, fmt.Sprintf("%s:%d:%d: %s", p.file, at.Line, at.Column, fmt.Sprintf(format, args...)))
}

func (p *parser) subscription(n *yaml.Node) Subscription {
	var e entry
	p.known(n)
	if err := n.Decode(&e); err != nil {
		p.wrong(n, "this is no subscription: %v", err)
		return Subscription{}
	}
	s := Subscription{Name: e.Name.Value, Mode: notice.Structured}
	if !nameForm.MatchString(s.Name) {
		p.wrong(or(&e.Name, n), "a subscription needs a name of small letters, digits and hyphens; %q is none", s.Name)
	}
	s.URL = p.address(or(&e.URL, n), e.URL.Value, e.Plaintext.Line > 0 && p.word(&e.Plaintext, "true", "false") == "true")
	s.Secrets = p.secrets(or(&e.SecretFile, n), e.SecretFile.Value)
	if e.Mode.Line > 0 {
		s.Mode = notice.Mode(p.word(&e.Mode, string(notice.Structured), string(notice.Binary)))
	}
	for i := range e.Vehicles {
		if v := &e.Vehicles[i]; !vehicleForm.MatchString(v.Value) {
			p.wrong(v, "%q names no vehicle; say for instance vehicles/wn11", v.Value)
		}
		s.Filter.Vehicles = append(s.Filter.Vehicles, e.Vehicles[i].Value)
	}
	for i := range e.Kinds {
		s.Filter.Kinds = append(s.Filter.Kinds, notice.Kind(p.word(&e.Kinds[i], kinds()...)))
	}
	for i := range e.Verdicts {
		s.Filter.Verdicts = append(s.Filter.Verdicts, p.word(&e.Verdicts[i], verdicts()...))
	}
	return s
}

// known refuses words of a subscription that nobody knows: a filter that is misspelt
// would let everything through.
func (p *parser) known(n *yaml.Node) {
	p.plain(n)
	words := []string{"name", "url", "secret_file", "mode", "plaintext_on_loopback", "vehicles", "kinds", "verdicts"}
	if n.Kind != yaml.MappingNode {
		return // Decode says so
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		if key := n.Content[i]; !slices.Contains(words, key.Value) {
			p.wrong(key, "%q is not known here; known are %s", key.Value, strings.Join(words, ", "))
		}
	}
}

// plain refuses references to other places of the file: nothing here is worth one.
func (p *parser) plain(n *yaml.Node) {
	if n.Kind == yaml.AliasNode {
		p.wrong(n, "write this out; a reference to another place is not read here")
	}
	for _, inner := range n.Content {
		p.plain(inner)
	}
}

// or is where something stands, or where it is missing.
func or(n, missing *yaml.Node) *yaml.Node {
	if n.Line == 0 {
		return missing
	}
	return n
}

func (p *parser) word(n *yaml.Node, words ...string) string {
	if !slices.Contains(words, n.Value) {
		p.wrong(n, "%q is not known here; say %s", n.Value, strings.Join(words, ", "))
	}
	return n.Value
}

func kinds() (words []string) {
	for _, k := range notice.Kinds() {
		words = append(words, string(k))
	}
	return words
}

func verdicts() (words []string) {
	for v := pb.Verdict_VERDICT_FIT; v <= pb.Verdict_VERDICT_UNFIT; v++ {
		words = append(words, strings.TrimPrefix(v.String(), "VERDICT_"))
	}
	return words
}

// address reads where to send to: encrypted, unless it never leaves this machine and
// somebody said so.
func (p *parser) address(at *yaml.Node, text string, plaintext bool) *url.URL {
	u, err := url.Parse(text)
	switch {
	case err != nil || u.Host == "" || u.Scheme != "https" && u.Scheme != "http":
		p.wrong(at, "a subscription needs a url, for instance https://control.example/bayround; %q is none", text)
		return nil
	case u.User != nil || u.Fragment != "":
		p.wrong(at, "a url holds no user, password or fragment; the signature proves who sends")
	case u.Scheme == "http" && !loopback(u.Hostname()):
		p.wrong(at, "%s would be reached without encryption; say https (http is for 127.0.0.1 and ::1 alone)", u.Host)
	case u.Scheme == "http" && !plaintext:
		p.wrong(at, "%s would be reached without encryption; say https, or plaintext_on_loopback: true when it is meant", u.Host)
	}
	return u
}

// loopback tells that a host is this machine. A name is none: whoever answers for it
// may say another machine.
func loopback(host string) bool {
	a, err := netip.ParseAddr(host)
	return err == nil && a.IsLoopback()
}

// secrets reads the keys that sign.
func (p *parser) secrets(at *yaml.Node, path string) (keys [][]byte) {
	if path == "" {
		p.wrong(at, "a subscription needs a secret_file, with one line: %s and 24 to 64 random bytes in base64", secretPrefix)
		return nil
	}
	content, err := p.secret(path)
	if err != nil {
		p.wrong(at, "the secret cannot be read: %v", err)
		return nil
	}
	lines := strings.Fields(string(content))
	if len(lines) < 1 || len(lines) > 2 {
		p.wrong(at, "%s must hold one secret, or the new and the former one while they are exchanged, each on a line of its own", path)
		return nil
	}
	for i, line := range lines {
		encoded, marked := strings.CutPrefix(line, secretPrefix)
		key, err := base64.StdEncoding.DecodeString(encoded)
		if !marked || err != nil || len(key) < shortestSecret || len(key) > longestSecret { // the secret itself is never shown
			p.wrong(at, "line %d of %s is no secret; it is %s and %d to %d random bytes in base64", i+1, path, secretPrefix, shortestSecret, longestSecret)
			continue
		}
		keys = append(keys, key)
	}
	return keys
}
