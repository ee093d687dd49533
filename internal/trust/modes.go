package trust

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"bayround/internal/fault"
)

// others are the permissions of everybody but the owner.
const others = 0o077

// CloseToOthers takes from files and folders, and from all that lies in these, what lets
// others than the owner in, and returns what was open to them. It refuses what cannot be
// closed: a key that others read is theirs, too. What is not there is passed over.
func CloseToOthers(names ...string) (open []string, err error) {
	for _, name := range names {
		err := filepath.WalkDir(name, func(name string, _ fs.DirEntry, err error) error {
			if errors.Is(err, fs.ErrNotExist) {
				return nil
			}
			if err != nil {
				return err
			}
			loose, err := closeToOthers(name)
			if loose {
				open = append(open, name)
			}
			return err
		})
		if err != nil {
			return open, fmt.Errorf("look who may open %s: %w", name, err)
		}
	}
	return open, nil
}

// CloseAlone does the same and leaves what lies in folders as it is: who cannot enter a
// folder opens nothing in it, whatever the modes there.
func CloseAlone(names ...string) (open []string, err error) {
	for _, name := range names {
		loose, err := closeToOthers(name)
		if err != nil {
			return open, fmt.Errorf("look who may open %s: %w", name, err)
		}
		if loose {
			open = append(open, name)
		}
	}
	return open, nil
}

// closeToOthers closes one file or folder, and tells whether it was open.
func closeToOthers(name string) (open bool, err error) {
	info, err := os.Stat(name) // of what a link leads to: that is what is read
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil || info.Mode().Perm()&others == 0 {
		return false, err
	}
	if err := os.Chmod(name, info.Mode().Perm()&^others); err != nil {
		return false, fault.New(fault.Precondition, "OPEN_TO_OTHERS",
			"others on this machine may open %[1]s, and this program cannot change that; give it to the user that runs this program (chown), say chmod go= %[1]s, and start again. If one of them may have read a key, have it replaced", name).Because(err)
	}
	return true, nil
}
