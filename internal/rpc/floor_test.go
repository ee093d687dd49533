package rpc_test

import (
	"context"
	"net"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/mem"
	"google.golang.org/protobuf/types/known/emptypb"

	"bayround/internal/rpc"
)

// plainBytes is a codec that sends and keeps bytes as they are.
type plainBytes struct{}

func (plainBytes) Marshal(v any) (mem.BufferSlice, error) {
	return mem.BufferSlice{mem.SliceBuffer(v.([]byte))}, nil
}

func (plainBytes) Unmarshal(data mem.BufferSlice, v any) error {
	*v.(*[]byte) = data.Materialize()
	return nil
}

func (plainBytes) Name() string { return "proto" }

// floor is a server that does nothing but what any server must: gRPC with our
// settings, and where asked for a file that is flushed before the answer.
type floor struct {
	syncs *batchFile // nil: nothing is kept
	mu    sync.Mutex
	wake  chan struct{} // guarded by mu: closed and replaced to tell every stream
	bytes []byte        // guarded by mu: what they are told
	ready sync.WaitGroup
}

// floorService describes /floor.Floor/Call (unary, empty) and /floor.Floor/Listen.
func floorService() *grpc.ServiceDesc {
	return &grpc.ServiceDesc{
		ServiceName: "floor.Floor",
		HandlerType: (*any)(nil),
		Methods: []grpc.MethodDesc{{
			MethodName: "Call",
			Handler: func(srv any, ctx context.Context, decode func(any) error, _ grpc.UnaryServerInterceptor) (any, error) {
				if err := decode(&emptypb.Empty{}); err != nil {
					return nil, err
				}
				if f := srv.(*floor); f.syncs != nil {
					return &emptypb.Empty{}, f.syncs.keep()
				}
				return &emptypb.Empty{}, nil
			},
		}},
		Streams: []grpc.StreamDesc{{
			StreamName: "Listen", ServerStreams: true,
			Handler: func(srv any, stream grpc.ServerStream) error { return srv.(*floor).listen(stream) },
		}},
	}
}

// listen tells one stream whatever fanOut is given.
func (f *floor) listen(stream grpc.ServerStream) error {
	var request []byte
	if err := stream.RecvMsg(&request); err != nil {
		return err
	}
	_, wake := f.look()
	f.ready.Done()
	for {
		select {
		case <-wake:
		case <-stream.Context().Done():
			return nil
		}
		var bytes []byte
		bytes, wake = f.look()
		if err := stream.SendMsg(bytes); err != nil {
			return err
		}
	}
}

func (f *floor) look() ([]byte, <-chan struct{}) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.bytes, f.wake
}

// fanOut tells every stream the bytes.
func (f *floor) fanOut(bytes []byte) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.bytes = bytes
	close(f.wake)
	f.wake = make(chan struct{})
}

// serveFloor serves a floor until the benchmark ends and returns its address.
func serveFloor(b *testing.B, f *floor, further ...grpc.ServerOption) string {
	b.Helper()
	f.wake = make(chan struct{})
	server := grpc.NewServer(append(rpc.LeanServer(64), further...)...)
	server.RegisterService(floorService(), f)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	go func() { _ = server.Serve(listener) }()
	b.Cleanup(server.Stop)
	return listener.Addr().String()
}

// batchFile is a file to which many callers append; those that wait share a flush.
type batchFile struct {
	file *os.File
	todo chan chan error
}

func newBatchFile(b *testing.B) *batchFile {
	b.Helper()
	file, err := os.Create(filepath.Join(b.TempDir(), "floor"))
	if err != nil {
		b.Fatal(err)
	}
	f := &batchFile{file: file, todo: make(chan chan error, 128)}
	go f.run()
	b.Cleanup(func() {
		close(f.todo)
		_ = file.Close()
	})
	return f
}

// keep appends one record and returns when it is on disk.
func (f *batchFile) keep() error {
	done := make(chan error, 1)
	f.todo <- done
	return <-done
}

func (f *batchFile) run() {
	record := make([]byte, 512)
	for first := range f.todo {
		batch := []chan error{first}
		for more := true; more && len(batch) < 128; {
			select {
			case next, open := <-f.todo:
				if more = open; open {
					batch = append(batch, next)
				}
			default:
				more = false
			}
		}
		var err error
		for range batch {
			if _, e := f.file.Write(record); e != nil {
				err = e
			}
		}
		if e := f.file.Sync(); e != nil {
			err = e
		}
		for _, done := range batch {
			done <- err
		}
	}
}
