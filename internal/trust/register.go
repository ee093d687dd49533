package trust

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/durable"
	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

const (
	registerFile    = "register.json"
	registerVersion = 2
	// firstVersion is that of registers of stations that have never had another authority.
	firstVersion = 1
	// mostClients bounds the register.
	mostClients = 1000
)

// client is somebody who was let in.
type client struct {
	Name      string        `json:"name"`
	Role      pb.ClientRole `json:"role"`
	Enrolment string        `json:"enrolment"`
	KeySHA256 string        `json:"key_sha256"`
	NotAfter  time.Time     `json:"not_after"`
	Admitted  time.Time     `json:"admitted"`
	Revoked   time.Time     `json:"revoked,omitzero"`
	Reason    string        `json:"reason,omitempty"`
	// CertSHA256 is of the newest certificate, DER, in hex; empty in registers before it.
	CertSHA256 string `json:"cert_sha256,omitempty"`
	// Authority signed it, by its SHA-256; empty in registers before it.
	Authority string `json:"authority,omitempty"`
}

// message is the client as the contract has it.
func (c client) message() *pb.Client {
	m := &pb.Client{
		Name: c.Name, Role: c.Role, Enrolment: c.Enrolment, KeySha256: c.KeySHA256,
		NotAfter: timestamppb.New(c.NotAfter), Admitted: timestamppb.New(c.Admitted), Reason: c.Reason, CertificateSha256: c.CertSHA256,
	}
	if !c.Revoked.IsZero() {
		m.Revoked = timestamppb.New(c.Revoked)
	}
	return m
}

// register is the file as it lies on disk. Values in it are replaced, not changed.
type register struct {
	Version int      `json:"version"`
	Clients []client `json:"clients"` // by name
	Codes   []code   `json:"codes"`   // by device
	// Authority is the SHA-256 of the authority by which the station is known; empty while
	// it is the first one. Rotation is nil while no other takes its place.
	Authority string    `json:"authority,omitempty"`
	Rotation  *rotation `json:"rotation,omitempty"`
}

// rotation is an authority that takes another's place. It never changes, it is replaced.
type rotation struct {
	Next  string        `json:"next"` // its SHA-256
	Begun time.Time     `json:"begun"`
	Left  time.Duration `json:"left_ns"` // that the station has to serve until the former is retired
}

func parseRegister(name string, b []byte) (*register, error) {
	var version struct {
		Version int `json:"version"`
	}
	r := &register{}
	err := json.Unmarshal(b, &version)
	if err == nil && version.Version > registerVersion {
		return nil, fault.Newer("REGISTER_NEWER", name, uint64(version.Version), registerVersion) //nolint:gosec // above 0
	}
	if err == nil {
		err = json.Unmarshal(b, r)
	}
	if err == nil && (r.Version < firstVersion || r.Version == firstVersion && (r.Rotation != nil || r.Authority != "")) {
		err = fmt.Errorf("version %d", r.Version)
	}
	if err != nil {
		return nil, unreadableRegister(name, err)
	}
	return r, nil
}

func unreadableRegister(name string, cause error) error {
	return fault.New(fault.Lost, "REGISTER_UNREADABLE",
		"%s, which says who may call this station, cannot be read; look who spoilt it and bring it back from a copy, or move its folder away: everybody must then be enrolled anew", name).Because(cause)
}

// readRegister reads the register of a folder. There must be one where there is an
// authority.
func readRegister(folder string, fresh bool) (*register, error) {
	name := filepath.Join(folder, registerFile)
	b, err := os.ReadFile(name) //nolint:gosec // our own folder
	switch {
	case errors.Is(err, fs.ErrNotExist) && fresh:
		return &register{Version: firstVersion}, nil
	case err != nil:
		return nil, unreadableRegister(name, err)
	}
	return parseRegister(name, b)
}

// write replaces the file; once it returns nil the register is on disk.
func (r *register) write(folder string) error {
	b, err := json.MarshalIndent(r, "", " ")
	if err != nil {
		return fmt.Errorf("encode the register: %w", err)
	}
	if err := durable.Replace(filepath.Join(folder, registerFile), b); err != nil {
		return fmt.Errorf("put the register in place: %w", err)
	}
	return nil
}

// clone is a register that can be changed.
func (r *register) clone() *register {
	return &register{Version: r.Version, Clients: slices.Clone(r.Clients), Codes: slices.Clone(r.Codes), Authority: r.Authority, Rotation: r.Rotation}
}

// find is a client by name; nil when nobody had the name.
func (r *register) find(name string) *client {
	i, found := slices.BinarySearchFunc(r.Clients, name, func(c client, name string) int { return cmp.Compare(c.Name, name) })
	if !found {
		return nil
	}
	return &r.Clients[i]
}

// put lists a client, in the place of who had the name before.
func (r *register) put(c client) error {
	if old := r.find(c.Name); old != nil {
		*old = c
		return nil
	}
	if len(r.Clients) >= mostClients {
		return fault.New(fault.Exhausted, "REGISTER_FULL", "%d programs were let in; give one of their names anew", mostClients)
	}
	r.Clients = append(r.Clients, c)
	slices.SortFunc(r.Clients, func(a, b client) int { return cmp.Compare(a.Name, b.Name) })
	return nil
}

// code is the code for a device; nil when there is none.
func (r *register) code(device string) *code {
	for i := range r.Codes {
		if r.Codes[i].Device == device {
			return &r.Codes[i]
		}
	}
	return nil
}

// open puts a code in the place of the device's former one, and forgets what is over.
func (r *register) open(c code, now time.Time) {
	kept := map[string]code{c.Device: c}
	for _, old := range r.Codes {
		if old.Device != c.Device && !old.over(now) {
			kept[old.Device] = old
		}
	}
	r.Codes = slices.SortedFunc(maps.Values(kept), func(a, b code) int { return cmp.Compare(a.Device, b.Device) })
}

// dropCode makes a device's code void.
func (r *register) dropCode(device string) {
	r.Codes = slices.DeleteFunc(r.Codes, func(c code) bool { return c.Device == device })
}
