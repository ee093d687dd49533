//go:build !faultpoints

package faultpoint

// Hit does nothing: this program was built without the tag faultpoints.
func Hit(Point) error { return nil }
