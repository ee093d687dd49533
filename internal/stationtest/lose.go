package stationtest

import (
	"os"
	"path/filepath"
)

// Lose has what act does lost from the store, as after damage that the store does
// not notice: the station is closed and opened again, and knows only by its
// signed heads that there was more. repair brings it back, and opens the station
// once more.
func (k *Kit) Lose(act func()) (repair func()) {
	k.T.Helper()
	store, folder := filepath.Join(k.o.Dir, "badger"), k.T.TempDir()
	before, after := filepath.Join(folder, "before"), filepath.Join(folder, "after")
	k.Close()
	k.must(os.CopyFS(before, os.DirFS(store)))
	k.open()
	act()
	k.Close()
	k.must(os.Rename(store, after))
	k.must(os.CopyFS(store, os.DirFS(before)))
	k.open()
	return func() {
		k.T.Helper()
		k.Close()
		k.must(os.RemoveAll(store))
		k.must(os.CopyFS(store, os.DirFS(after)))
		k.open()
	}
}

func (k *Kit) must(err error) {
	k.T.Helper()
	if err != nil {
		k.T.Fatal(err)
	}
}
