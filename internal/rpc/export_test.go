package rpc

import "google.golang.org/grpc"

// LeanServer and LeanClient are the settings that the benchmarks' floors share with us.
func LeanServer(streams uint32) []grpc.ServerOption { return leanServer(streams) }

// LeanClient is the client's side.
func LeanClient() []grpc.DialOption { return leanClient() }
