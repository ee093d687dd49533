package catalogue

import (
	"embed"
	"fmt"
	"io/fs"
	"path"
	"strings"
)

// data holds the files that come with Bayround; it is never written to.
//
//go:embed data
var data embed.FS

// dataRoot is the folder that names of default files are relative to.
const dataRoot = "data"

// Defaults returns the files that come with Bayround, sorted by name: the
// catalogue, the routines and the rule packs. The caller may keep and change
// them. A file that cannot be read out of the program itself is a broken
// promise of the build, and panics.
func Defaults() []File {
	var files []File
	err := fs.WalkDir(data, dataRoot, func(name string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() || path.Ext(name) != ".yaml" {
			return err
		}
		content, err := data.ReadFile(name)
		if err != nil {
			return fmt.Errorf("read %s: %w", name, err)
		}
		files = append(files, File{Name: strings.TrimPrefix(name, dataRoot+"/"), Content: content})
		return nil
	})
	if err != nil {
		panic(fmt.Sprintf("catalogue: the embedded data: %v", err))
	}
	return files
}
