// Package bayroundv1 is the contract of a Bayround station as Go messages and
// gRPC stubs. Everything in it but this file is generated from the protos
// beside it by `make proto`; the messages are the house's data types.
package bayroundv1
