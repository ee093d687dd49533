//go:build !linux

package journal

import "os"

// reserve takes bytes from the disk for a file.
func reserve(f *os.File, bytes int64) error { return write(f, bytes) }
