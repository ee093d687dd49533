// Package countytest loads the vehicles and stations of the invented county, for tests that plan or judge
// them. Tests alone import it, from packages that lie directly in internal.
package countytest

import (
	"os"
	"path/filepath"
	"sync"

	"bayround/internal/catalogue"
)

// Load returns them together with the default catalogue, routines and packs, read once. Nobody may
// change what it returns.
var Load = sync.OnceValues(func() (*catalogue.Loaded, error) {
	files := catalogue.Defaults()
	for _, pattern := range []string{"*.yaml", "vehicles/*.yaml"} {
		names, err := filepath.Glob(filepath.Join("..", "..", "testdata", "demo", pattern))
		if err != nil {
			return nil, err
		}
		for _, name := range names {
			content, err := os.ReadFile(name)
			if err != nil {
				return nil, err
			}
			files = append(files, catalogue.File{Name: name, Content: content})
		}
	}
	return catalogue.Load(files)
})
