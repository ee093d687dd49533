package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/note"

	"bayround/internal/fault"
)

// The names in the folder of a backup.
const (
	manifestName = "MANIFEST"
	recordName   = "record"
	keyName      = "signer.key" // as in the folder of the record
)

// manifestVersion is that of the layout that this program writes and reads.
const manifestVersion = 1

// manifest says what a backup holds. It is JSON in a C2SP signed note; where the
// signing key was not at hand, "\nsha256 " and the SHA-256 of the JSON, in hex, stand
// in place of the signature.
type manifest struct {
	Version     int        `json:"bayround_backup"`
	Signed      bool       `json:"signed"`
	Made        time.Time  `json:"made"`
	Program     string     `json:"program"`
	JournalID   string     `json:"journal_id"`
	VerifierKey string     `json:"verifier_key"`
	Events      uint64     `json:"events"`
	Newest      *time.Time `json:"newest_event,omitempty"`
	Checkpoint  string     `json:"checkpoint"`
	Files       []listed   `json:"files"`
	// Photos that results speak of and that had not arrived, or were damaged.
	Missing []string `json:"missing_photos,omitempty"`
}

// listed is one file of a backup.
type listed struct {
	Name   string `json:"name"` // with slashes, from the backup's folder on
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// write puts the manifest into a folder, signed when there is a signer.
func (m *manifest) write(folder string, signer note.Signer) error {
	m.Signed = signer != nil
	text, err := json.MarshalIndent(m, "", "  ")
	if err != nil {
		return err
	}
	text = append(text, '\n')
	whole := append(text, unsignedEnd(text)...)
	if m.Signed {
		if whole, err = note.Sign(&note.Note{Text: string(text)}, signer); err != nil {
			return fmt.Errorf("sign the manifest: %w", err)
		}
	}
	return writeSynced(filepath.Join(folder, manifestName), whole)
}

func unsignedEnd(text []byte) string {
	sum := sha256.Sum256(text)
	return "\nsha256 " + hex.EncodeToString(sum[:]) + "\n"
}

// readManifest reads the manifest of a folder and makes sure of its signature. It
// must be exactly as it was written.
func readManifest(folder string) (*manifest, error) {
	b, err := os.ReadFile(filepath.Join(folder, manifestName))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fault.New(fault.NotFound, "BACKUP_UNFINISHED", "%s holds no file %s: it is no backup, or one that was not finished", folder, manifestName)
	}
	if err != nil {
		return nil, err
	}
	end := bytes.LastIndex(b, []byte("\n\n"))
	if end < 0 {
		return nil, notAsWritten("it is cut off")
	}
	m, err := parseManifest(filepath.Join(folder, manifestName), b[:end+1])
	if err != nil {
		return nil, err
	}
	if !m.Signed {
		if string(b[end+1:]) != unsignedEnd(b[:end+1]) {
			return nil, notAsWritten("its sum is not that of its text")
		}
		return m, nil
	}
	return m, m.signedBy(b)
}

func parseManifest(name string, text []byte) (*manifest, error) {
	var told struct {
		Version int `json:"bayround_backup"`
	}
	if err := json.Unmarshal(text, &told); err == nil && told.Version > manifestVersion {
		return nil, fault.Newer("BACKUP_NEWER", name, uint64(told.Version), manifestVersion)
	}
	m := &manifest{}
	strict := json.NewDecoder(bytes.NewReader(text))
	strict.DisallowUnknownFields()
	if err := strict.Decode(m); err != nil {
		return nil, notAsWritten(err.Error())
	}
	if m.Version != manifestVersion {
		return nil, notAsWritten("it has no version")
	}
	return m, nil
}

// signedBy makes sure that the manifest bears the signature of the key it names,
// byte for byte: base64 can be written with loose bits.
func (m *manifest) signedBy(whole []byte) error {
	verifier, err := note.NewVerifier(m.VerifierKey)
	if err != nil {
		return notAsWritten("the key it names cannot be read")
	}
	n, err := note.Open(whole, note.VerifierList(verifier))
	if err != nil {
		return notAsWritten(err.Error())
	}
	again, err := note.Sign(n)
	if err == nil {
		_, err = base64.StdEncoding.Strict().DecodeString(n.Sigs[0].Base64)
	}
	if err != nil || len(n.Sigs) != 1 || !bytes.Equal(again, whole) {
		return notAsWritten("its signature is not as it was written")
	}
	return nil
}

func notAsWritten(why string) error {
	return fault.New(fault.Lost, "BACKUP_DAMAGED", "the file %s of the backup was changed: %s", manifestName, why)
}

// list takes a file of a folder into the manifest.
func (m *manifest) list(folder, name string) error {
	l, err := listing(folder, name)
	if err == nil {
		m.Files = append(m.Files, l)
	}
	return err
}

// has tells whether the manifest lists a file.
func (m *manifest) has(name string) bool {
	for _, l := range m.Files {
		if l.Name == name {
			return true
		}
	}
	return false
}

// photos lists the names of the photos.
func (m *manifest) photos() (names []string) {
	for _, l := range m.Files {
		if strings.HasPrefix(l.Name, photosFolder+"/") {
			names = append(names, filepath.Base(l.Name))
		}
	}
	return names
}

// listing reads a file for what is to be said of it.
func listing(folder, name string) (listed, error) {
	f, err := os.Open(filepath.Join(folder, filepath.FromSlash(name)))
	if err != nil {
		return listed{}, err
	}
	sum := sha256.New()
	n, err := io.Copy(sum, f)
	return listed{Name: name, Bytes: n, SHA256: hex.EncodeToString(sum.Sum(nil))}, errors.Join(err, f.Close())
}

// check reads every file that is listed, and makes sure that there is no other.
func (m *manifest) check(folder string) error {
	known := map[string]bool{manifestName: true}
	for _, want := range m.Files {
		if !filepath.IsLocal(want.Name) {
			return notAsWritten("it names a file outside")
		}
		known[want.Name] = true
		is, err := listing(folder, want.Name)
		if errors.Is(err, fs.ErrNotExist) {
			return fault.New(fault.Lost, "BACKUP_DAMAGED", "the file %s of the backup is missing", want.Name)
		}
		if err != nil {
			return err
		}
		if is != want {
			return fault.New(fault.Lost, "BACKUP_DAMAGED", "the file %s of the backup was changed: it has %d bytes and SHA-256 %s, the manifest says %d and %s",
				want.Name, is.Bytes, is.SHA256, want.Bytes, want.SHA256)
		}
	}
	return filepath.WalkDir(folder, func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		name, err := filepath.Rel(folder, path)
		if err == nil && !known[filepath.ToSlash(name)] {
			return fault.New(fault.Lost, "BACKUP_DAMAGED", "the file %s stands in the backup and not in its manifest", name)
		}
		return err
	})
}

// writeSynced writes a new file that only its owner may read.
func writeSynced(name string, content []byte) error {
	f, err := os.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(content)
	return errors.Join(err, f.Sync(), f.Close())
}
