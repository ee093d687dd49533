package rpc

import (
	"bytes"

	"google.golang.org/grpc/encoding"
	"google.golang.org/grpc/encoding/proto"
	"google.golang.org/grpc/mem"
	"google.golang.org/protobuf/encoding/protowire"
	protobuf "google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// encoded is the bytes of a message that were made before, to be sent as they
// are. Nobody writes to them.
type encoded []byte

// codec is gRPC's protobuf codec, which also takes what is encoded already.
type codec struct{ encoding.CodecV2 }

func newCodec() codec { return codec{CodecV2: encoding.GetCodecV2(proto.Name)} }

// Marshal returns the wire format of v.
func (c codec) Marshal(v any) (mem.BufferSlice, error) {
	if already, ok := v.(encoded); ok {
		return mem.BufferSlice{mem.SliceBuffer(already)}, nil // not counted, never given back to a pool
	}
	return c.CodecV2.Marshal(v)
}

// Unmarshal reads the wire format into v. Bytes that are no such message are no
// error here: gRPC would answer it with INTERNAL before any of us heard of it.
// The message is marked instead, and the check of requests refuses it.
func (c codec) Unmarshal(data mem.BufferSlice, v any) error {
	err := c.CodecV2.Unmarshal(data, v)
	message, ok := v.(protobuf.Message)
	if err == nil || !ok {
		return err
	}
	protobuf.Reset(message)
	message.ProtoReflect().SetUnknown(unreadableMark())
	return nil
}

// unreadableMark is a field, number 19999, in the range that protobuf keeps for
// implementations: no proto file can declare it.
func unreadableMark() protoreflect.RawFields {
	return protowire.AppendVarint(protowire.AppendTag(nil, 19999, protowire.VarintType), 1)
}

// readable reports whether a message that came in could be read.
func readable(message protobuf.Message) bool {
	return !bytes.Equal(message.ProtoReflect().GetUnknown(), unreadableMark())
}
