package stationtest

import (
	"os"
	"path/filepath"
)

// Lose has what act does lost from the store, as after damage that the store does
// not notice: the station is closed and opened again, and knows only by its
// signed heads that there was more.
func (k *Kit) Lose(act func()) {
	k.T.Helper()
	store, kept := filepath.Join(k.o.Dir, "badger"), filepath.Join(k.T.TempDir(), "kept")
	k.Close()
	k.must(os.CopyFS(kept, os.DirFS(store)))
	k.open()
	act()
	k.Close()
	k.must(os.RemoveAll(store))
	k.must(os.CopyFS(store, os.DirFS(kept)))
	k.open()
}

func (k *Kit) must(err error) {
	k.T.Helper()
	if err != nil {
		k.T.Fatal(err)
	}
}
