package main

import (
	"net"
	"net/netip"
)

// mayListen refuses an address that other machines can reach, unless that was
// asked for: nothing is encrypted yet. The empty address listens nowhere.
func mayListen(address string, anywhere bool) error {
	if address == "" || anywhere {
		return nil
	}
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return misuse("%q is no address to listen on; say host:port, for instance 127.0.0.1:7443", address)
	}
	if host == "localhost" {
		return nil
	}
	if ip, err := netip.ParseAddr(host); err == nil && ip.IsLoopback() {
		return nil
	}
	return misuse("%q can be reached from other machines, and nothing on it would be encrypted; "+
		"listen on 127.0.0.1, or say --insecure-listen-anywhere and mean it", address)
}
