package screen

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"sort"
)

// files are the templates and what the pages load. Nothing is fetched from elsewhere.
//
//go:embed templates static
var files embed.FS

// asset is one file of static, served under an address that holds its digest, so
// that a browser may keep it for ever.
type asset struct {
	content     []byte
	contentType string
	digest      string
}

// assets is everything in static.
type assets struct {
	byName map[string]asset
	build  string // digest over all of it and the templates
}

// loadAssets reads what is embedded.
func loadAssets() (*assets, error) {
	a := &assets{byName: map[string]asset{}}
	whole := sha256.New()
	var names []string
	err := fs.WalkDir(files, ".", func(name string, entry fs.DirEntry, err error) error {
		if err == nil && !entry.IsDir() {
			names = append(names, name)
		}
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("listing the embedded pages: %w", err)
	}
	sort.Strings(names)
	for _, name := range names {
		content, err := files.ReadFile(name)
		if err != nil {
			return nil, fmt.Errorf("reading the embedded pages: %w", err)
		}
		fmt.Fprintf(whole, "%s %d\n", name, len(content))
		whole.Write(content)
		if path.Dir(name) == "static" {
			sum := sha256.Sum256(content)
			a.byName[path.Base(name)] = asset{content, typeOf(name), hex.EncodeToString(sum[:8])}
		}
	}
	a.build = hex.EncodeToString(whole.Sum(nil)[:8])
	return a, nil
}

// typeOf does not ask the machine's own table of types, which differs between machines.
func typeOf(name string) string {
	switch path.Ext(name) {
	case ".css":
		return "text/css; charset=utf-8"
	case ".js":
		return "text/javascript; charset=utf-8"
	case ".svg":
		return "image/svg+xml"
	}
	return mime.TypeByExtension(path.Ext(name))
}

// address is where the page finds a file.
func (a *assets) address(name string) string {
	return "/static/" + a.byName[name].digest + "/" + name
}

// serve answers GET /static/{digest}/{name}.
func (a *assets) serve(w http.ResponseWriter, r *http.Request) {
	found, ok := a.byName[r.PathValue("name")]
	if !ok || found.digest != r.PathValue("digest") {
		http.Error(w, "This page belongs to another version. Load it again.", http.StatusNotFound)
		return
	}
	w.Header().Set("Content-Type", found.contentType)
	w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	_, _ = w.Write(found.content) // a reader that has gone needs no answer
}
