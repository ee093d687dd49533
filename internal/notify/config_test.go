package notify

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"bayround/internal/fault"
	"bayround/internal/notice"
)

// secret is one in the form of the Standard Webhooks text: the one of its vector.
const secret = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"

// whole is a file with everything in it.
const whole = `subscriptions:
  - name: control
    url: https://control.example/bayround?station=quay
    secret_file: control.secret
    mode: binary
    vehicles: [vehicles/wn11, vehicles/wl1]
    kinds: [verdict.changed, deferral.ending]
    verdicts: [UNFIT, FIT]
  - name: display
    url: http://127.0.0.1:9000/
    plaintext_on_loopback: true
    secret_file: display.secret
`

// secrets reads files of secrets that are not there.
func secrets(path string) ([]byte, error) {
	switch path {
	case "control.secret", "display.secret":
		return []byte(secret + "\n"), nil
	case "two.secret":
		return []byte(secret + "\n" + secret + "\n"), nil
	case "three.secret":
		return []byte(strings.Repeat(secret+"\n", 3)), nil
	case "short.secret":
		return []byte("whsec_c2hvcnQ="), nil
	case "bare.secret":
		return []byte("MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"), nil
	}
	return nil, errors.New("no such file")
}

func TestParse_TakesAWholeFile(t *testing.T) {
	all, err := Parse("s.yaml", []byte(whole), secrets)
	if err != nil || len(all) != 2 {
		t.Fatalf("%d, %v", len(all), err)
	}
	a, b := all[0], all[1]
	if a.Name != "control" || a.URL.String() != "https://control.example/bayround?station=quay" || a.Mode != notice.Binary || len(a.Secrets) != 1 || len(a.Secrets[0]) != 24 {
		t.Errorf("%+v", a)
	}
	if !slices.Equal(a.Filter.Vehicles, []string{"vehicles/wn11", "vehicles/wl1"}) || !slices.Equal(a.Filter.Kinds, []notice.Kind{notice.VerdictChanged, notice.DeferralEnding}) || !slices.Equal(a.Filter.Verdicts, []string{"UNFIT", "FIT"}) {
		t.Errorf("%+v", a.Filter)
	}
	if b.Mode != notice.Structured || b.URL.Scheme != "http" || len(b.Filter.Vehicles)+len(b.Filter.Kinds)+len(b.Filter.Verdicts) != 0 {
		t.Errorf("%+v", b)
	}
	if none, err := Parse("s.yaml", nil, secrets); err != nil || len(none) != 0 {
		t.Errorf("an empty file: %v, %v", none, err)
	}
}

// Each mistake is refused with its place and what would be right.
func TestParse_Refuses(t *testing.T) {
	one := func(lines ...string) string {
		with := map[string]string{"name": "a", "url": "https://a.example/", "secret_file": "control.secret"}
		for _, l := range lines {
			key, value, _ := strings.Cut(l, ": ")
			with[key] = value
		}
		text := "subscriptions:\n  - name: " + with["name"] + "\n    url: " + with["url"] + "\n    secret_file: " + with["secret_file"] + "\n"
		for _, l := range lines {
			if key, _, _ := strings.Cut(l, ": "); !slices.Contains([]string{"name", "url", "secret_file"}, key) {
				text += "    " + l + "\n"
			}
		}
		return text
	}
	if _, err := Parse("s.yaml", []byte(one()), secrets); err != nil {
		t.Fatalf("without a mistake it is refused: %v", err)
	}
	for _, tc := range []struct{ why, text, says string }{
		{"no YAML", "subscriptions: [", "s.yaml: "},
		{"another file", "vehicles: []", "it must hold: subscriptions"},
		{"no list", "subscriptions: 7", "it must hold: subscriptions"},
		{"something behind it", one() + "---\nsubscriptions: []\n", "behind the list"},
		{"no mapping", "subscriptions: [7]", "s.yaml:1:17: this is no subscription"},
		{"a name that is none", one("name: Control Room"), `s.yaml:2:11: a subscription needs a name of small letters, digits and hyphens; "Control Room" is none`},
		{"a name that leads elsewhere", one("name: ../a"), "small letters"},
		{"a name twice", one() + strings.TrimPrefix(one(), "subscriptions:\n"), `the name "a" stands here twice`},
		{"no address", one("url: "), "needs a url"},
		{"an address of another kind", one("url: ftp://a.example/"), "needs a url"},
		{"an address without a host", one("url: https:///x"), "needs a url"},
		{"an address with a password", one("url: https://u:p@a.example/"), "no user, password or fragment"},
		{"an address with a fragment", one("url: https://a.example/#x"), "no user, password or fragment"},
		{"without encryption", one("url: http://a.example/"), "s.yaml:3:10: a.example would be reached without encryption; say https"},
		{"without encryption, though asked for", one("url: http://192.0.2.7/", "plaintext_on_loopback: true"), "http is for 127.0.0.1 and ::1 alone"},
		{"a name is not this machine", one("url: http://localhost:9000/", "plaintext_on_loopback: true"), "http is for 127.0.0.1 and ::1 alone"},
		{"this machine, but nobody asked", one("url: http://127.0.0.1:9000/"), "or plaintext_on_loopback: true"},
		{"neither true nor false", one("url: http://[::1]:9000/", "plaintext_on_loopback: maybe"), "say true, false"},
		{"no secret", one("secret_file: "), "needs a secret_file"},
		{"a secret that is not there", one("secret_file: none.secret"), "no such file"},
		{"three secrets", one("secret_file: three.secret"), "must hold one secret, or the new and the former one"},
		{"a short secret", one("secret_file: short.secret"), "line 1 of short.secret is no secret"},
		{"a bare secret", one("secret_file: bare.secret"), "line 1 of bare.secret is no secret"},
		{"a mode that is none", one("mode: batched"), "say structured, binary"},
		{"a vehicle that is none", one("vehicles: [wn11]"), "s.yaml:5:16: \"wn11\" names no vehicle; say for instance vehicles/wn11"},
		{"a kind that is none", one("kinds: [verdict]"), "say verdict.changed, "},
		{"a verdict that is none", one("verdicts: [fit]"), "say FIT, RESTRICTED, UNPROVEN, MOVE_ONLY, UNFIT"},
		{"a filter misspelt", one("vehicle: [vehicles/wn11]"), `"vehicle" is not known here`},
		{"a reference", strings.Replace(one("vehicles: [*a]"), "name: a", "name: &a a", 1), "write this out"},
		{"too many", "subscriptions:\n" + strings.Repeat("  - {}\n", mostSubscriptions+1), "33 subscriptions; 32 are the most"},
	} {
		t.Run(tc.why, func(t *testing.T) {
			all, err := Parse("s.yaml", []byte(tc.text), secrets)
			if !fault.Is(err, fault.Invalid) || all != nil {
				t.Fatalf("%v, %v; want it refused\n%s", all, err, tc.text)
			}
			if !strings.Contains(err.Error(), tc.says) {
				t.Errorf("it says\n%v\nwant %q in it\n%s", err, tc.says, tc.text)
			}
			if strings.Contains(err.Error(), secret[6:]) {
				t.Error("it shows a secret")
			}
		})
	}
}

// A file of a secret that others may open is refused, one of its owner alone is taken;
// files that are too long are not read.
func TestLoad_SecretsAreTheirOwnersAlone(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "s.yaml")
	put := func(name, content string, mode os.FileMode) {
		t.Helper()
		path := filepath.Join(dir, name)
		if err := errors.Join(os.WriteFile(path, []byte(content), 0o600), os.Chmod(path, mode)); err != nil {
			t.Fatal(err)
		}
	}
	put("s.yaml", whole, 0o644)
	put("display.secret", secret, 0o400)
	for mode, says := range map[os.FileMode]string{0o600: "", 0o640: "chmod 600", 0o604: "chmod 600", 0o610: "chmod 600"} {
		put("control.secret", secret, mode)
		all, err := Load(file)
		if says == "" && (err != nil || len(all) != 2) || says != "" && (err == nil || !strings.Contains(err.Error(), says)) {
			t.Errorf("%o: %v, %v", mode, all, err)
		}
	}
	put("control.secret", secret+strings.Repeat("\n", longestSecretFile), 0o600)
	if _, err := Load(file); err == nil || !strings.Contains(err.Error(), "longer than") {
		t.Errorf("a long secret: %v", err)
	}
	put("s.yaml", whole+strings.Repeat("#", longestFile), 0o600)
	if _, err := Load(file); err == nil || !strings.Contains(err.Error(), "longer than") {
		t.Errorf("a long file: %v", err)
	}
	if _, err := Load(filepath.Join(dir, "none.yaml")); err == nil {
		t.Error("a file that is not there is read")
	}
}

// Whatever stands in the file, it is refused aloud or every subscription can be used:
// a safe name, an address that is encrypted or of this machine, keys of the right
// length, words that are known.
func FuzzParse(f *testing.F) {
	f.Add([]byte(whole))
	f.Add([]byte("subscriptions:\n  - {name: a, url: 'https://a.example', secret_file: two.secret, vehicles: [], kinds:, mode: structured}\n"))
	f.Add([]byte("subscriptions: &a [*a]"))
	f.Add([]byte("subscriptions:\n- <<: {name: a}\n  url: http://[::1%25eth0]/\n"))
	f.Add([]byte("? subscriptions\n: - ? name\n    : !!binary YQ==\n"))
	f.Fuzz(func(t *testing.T, content []byte) {
		all, err := Parse("s.yaml", content, secrets)
		if err != nil {
			if !fault.Is(err, fault.Invalid) || err.Error() == "" {
				t.Fatalf("refused with %v", err)
			}
			return
		}
		names := map[string]bool{}
		for _, s := range all {
			if names[s.Name] || !filepath.IsLocal(s.Name) || strings.ContainsAny(s.Name, `/\.`) {
				t.Fatalf("the name %q", s.Name)
			}
			names[s.Name] = true
			if s.URL == nil || s.URL.Host == "" || s.URL.Scheme != "https" && (s.URL.Scheme != "http" || !loopback(s.URL.Hostname())) {
				t.Fatalf("the address %v", s.URL)
			}
			if len(s.Secrets) == 0 || slices.ContainsFunc(s.Secrets, func(k []byte) bool { return len(k) < 24 || len(k) > 64 }) {
				t.Fatalf("keys %v", s.Secrets)
			}
			if s.Mode != notice.Structured && s.Mode != notice.Binary {
				t.Fatalf("mode %q", s.Mode)
			}
			for _, k := range s.Filter.Kinds {
				if !slices.Contains(notice.Kinds(), k) {
					t.Fatalf("kind %q", k)
				}
			}
			if fmt.Sprint(s.Filter.Verdicts) != "[]" && slices.ContainsFunc(s.Filter.Verdicts, func(v string) bool { return !slices.Contains(verdicts(), v) }) {
				t.Fatalf("verdicts %v", s.Filter.Verdicts)
			}
		}
	})
}
