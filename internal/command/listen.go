package command

import (
	"encoding/json"
	"fmt"
	"net"
	"net/netip"
	"os"
	"path/filepath"
)

// MayListen refuses an address that other machines can reach, unless that was
// asked for: pages and metrics are not encrypted. The empty address listens nowhere.
func MayListen(address string, anywhere bool) error {
	if address == "" || anywhere {
		return nil
	}
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return Misuse("%q is no address to listen on; say host:port, for instance 127.0.0.1:7443", address)
	}
	if host == "localhost" {
		return nil
	}
	if ip, err := netip.ParseAddr(host); err == nil && ip.IsLoopback() {
		return nil
	}
	return Misuse("%q can be reached from other machines, and nothing on it would be encrypted; "+
		"listen on 127.0.0.1, or say --insecure-listen-anywhere and mean it", address)
}

// WriteReady writes a ready file, as JSON, whole or not at all, so that whoever
// waits for it never reads half of it. The empty name writes nothing.
func WriteReady(name string, ready any) error {
	if name == "" {
		return nil
	}
	content, err := json.Marshal(ready)
	if err != nil {
		return fmt.Errorf("writing the ready file: %w", err)
	}
	draft := filepath.Join(filepath.Dir(name), "."+filepath.Base(name)+".draft")
	if err := os.WriteFile(draft, append(content, '\n'), 0o600); err != nil {
		return fmt.Errorf("writing the ready file: %w", err)
	}
	if err := os.Rename(draft, name); err != nil {
		return fmt.Errorf("writing the ready file: %w", err)
	}
	return nil
}
