package journal

import (
	"errors"
	"os"
	"syscall"
)

// reserve takes bytes from the disk for a file.
func reserve(f *os.File, bytes int64) error {
	err := syscall.Fallocate(int(f.Fd()), 0, 0, bytes)
	if errors.Is(err, syscall.EOPNOTSUPP) {
		return write(f, bytes)
	}
	return err
}
