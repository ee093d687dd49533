package trust

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// renew has the certificate of a wallet renewed.
func (r *rig) renew(w *Wallet) {
	r.t.Helper()
	request, err := mustRead(r.t, w).Request()
	if err != nil {
		r.t.Fatal(err)
	}
	resp, err := r.Renew(r.caller(w), request, r.record)
	if err == nil {
		err = w.Renewed(resp)
	}
	if err != nil {
		r.t.Fatal(err)
	}
}

func (r *rig) rotate(overlap time.Duration) {
	r.t.Helper()
	if _, err := r.RotateAuthority(&pb.RotateAuthorityRequest{Overlap: durationpb.New(overlap)}, "administrator", r.record); err != nil {
		r.t.Fatal(err)
	}
}

// reaches tells whether a wallet's owner goes on with the station, and is let in.
func (r *rig) reaches(w *Wallet) error {
	r.t.Helper()
	seen, err := connect(r.t, r.Config(), w.Config())
	if err != nil {
		return w.Trouble()
	}
	return r.Judge(r.Identify(seen.PeerCertificates))
}

func (r *rig) newestEvent() *pb.JournalEvent { return r.recorded[len(r.recorded)-1] }

// A whole rotation, with a tablet that is in touch and one that sleeps through it. The
// handshakes are real ones.
func TestRotateAuthority_WhoIsInTouchNoticesNothing(t *testing.T) {
	r := open(t)
	awake, asleep := r.enrol("tablet-1"), r.enrol("tablet-2")
	former := r.AuthoritySHA256()
	runs, release := r.Bind(t.Context(), r.caller(awake))
	defer release()
	r.rotate(60 * 24 * time.Hour)
	if told := r.newestEvent().GetAuthorityRotated(); told.GetAuthoritySha256() != former || told.GetNextSha256() == former || told.GetBy() != "administrator" {
		t.Errorf("the record tells %v", told)
	}
	if err := r.reaches(awake); err != nil || runs.Err() != nil {
		t.Fatalf("in touch, as the rotation begins: %v, %v", err, context.Cause(runs))
	}
	if !awake.Due() || asleep.Due() {
		t.Errorf("to be renewed: who has seen it %v, who has not %v", awake.Due(), asleep.Due())
	}
	_, err := r.RetireAuthority(&pb.RetireAuthorityRequest{}, "", r.record)
	wantReason(t, err, fault.Precondition, "CLIENTS_NOT_RENEWED")
	r.renew(awake)
	if err := r.reaches(awake); err != nil || awake.Due() {
		t.Errorf("renewed: %v, due again %v", err, awake.Due())
	}
	if waiting := r.AuthorityState().GetWaiting(); len(waiting) != 1 || waiting[0].GetName() != "tablet-2" {
		t.Errorf("not renewed: %v", waiting)
	}
	fresh := r.enrol("tablet-3") // by the former authority, which it still knows the station by
	if _, err = r.RotateAuthority(&pb.RotateAuthorityRequest{}, "", r.record); err == nil {
		t.Error("a second rotation began within the first")
	}

	anew, let := r.Bind(t.Context(), r.caller(awake))
	defer let()
	old, free := r.Bind(t.Context(), r.caller(asleep))
	defer free()
	caller := r.caller(asleep)
	resp, err := r.RetireAuthority(&pb.RetireAuthorityRequest{LeaveOut: true}, "administrator", r.record)
	if err != nil || !slices.Equal(resp.GetLeftOut(), []string{"tablet-2"}) || resp.GetState().GetNextSha256() != "" {
		t.Fatalf("retired: %v, %v", resp, err)
	}
	if told := r.newestEvent().GetAuthorityRetired(); told.GetAuthoritySha256() != former || told.GetBy() != "administrator" || !slices.Equal(told.GetLeftOut(), []string{"tablet-2"}) {
		t.Errorf("the record tells %v", told)
	}
	wantReason(t, context.Cause(old), fault.Unidentified, "CERTIFICATE_RETIRED")
	wantReason(t, r.Judge(caller), fault.Unidentified, "CERTIFICATE_RETIRED")
	wantReason(t, r.Judge(r.caller(asleep)), fault.Unidentified, "CERTIFICATE_FOREIGN")
	if anew.Err() != nil {
		t.Errorf("the stream of who was renewed: %v", context.Cause(anew))
	}
	for range 2 { // and after a restart
		for name, w := range map[string]*Wallet{"renewed": awake, "enrolled meanwhile": fresh} {
			if err := r.reaches(w); err != nil {
				t.Errorf("%s: %v", name, err)
			}
		}
		wantReason(t, r.reaches(asleep), fault.Unidentified, "STATION_FOREIGN")
		r.reopen()
	}
	if !awake.Due() {
		t.Error("it goes on knowing the station by an authority that is retired")
	}
	r.renew(awake)
	if held := mustRead(t, awake); len(held.authorities) != 1 || awake.Due() {
		t.Errorf("%d authorities after that, due %v", len(held.authorities), awake.Due())
	}
	if again := r.enrol("tablet-2"); r.reaches(again) != nil {
		t.Errorf("enrolled again with a code: %v", r.reaches(again))
	}
	if key := mustReadKey(t, r.folder); key != r.AuthoritySHA256() || exists(r.folder, nextFiles.key) || exists(r.folder, nextFiles.cert) {
		t.Error("the key of the former authority still lies in the folder")
	}
}

func exists(folder, name string) bool {
	_, err := os.Stat(filepath.Join(folder, name))
	return err == nil
}

// mustReadKey is the SHA-256 of the public half of the authority's key on disk.
func mustReadKey(t testing.TB, folder string) string {
	t.Helper()
	key, err := readKey(filepath.Join(folder, authorityKeyFile))
	if err != nil {
		t.Fatal(err)
	}
	digest, err := spkiDigest(&key.PublicKey)
	if err != nil {
		t.Fatal(err)
	}
	return digest
}

// The overlap is time in which the station serves: a clock that is years ahead or behind
// ends nothing and puts nothing off, and what was served before a restart counts.
func TestRotateAuthority_ItsOverlapGoesByNoClock(t *testing.T) {
	r := open(t)
	tablet := r.enrol("tablet-1")
	r.rotate(48 * time.Hour)
	served := func(d time.Duration) *pb.AuthorityState {
		t.Helper()
		if err := r.pass(d, r.record); err != nil {
			t.Fatal(err)
		}
		return r.AuthorityState()
	}
	r.clock.advance(10 * 365 * 24 * time.Hour)
	if state := served(time.Hour); state.GetLeft().AsDuration() != 47*time.Hour {
		t.Errorf("ten years ahead: %v are left", state.GetLeft().AsDuration())
	}
	r.clock.advance(-11 * 365 * 24 * time.Hour)
	r.reopen()
	if err := r.reaches(tablet); err != nil || !tablet.Due() {
		t.Errorf("by the former authority, a year before it was made: %v, due %v", err, tablet.Due())
	}
	if state := served(46 * time.Hour); state.GetLeft().AsDuration() != time.Hour {
		t.Errorf("a year behind, after a restart: %v are left", state.GetLeft().AsDuration())
	}
	r.renew(tablet)
	if state := served(time.Hour); state.GetNextSha256() != "" || r.newestEvent().GetAuthorityRetired().GetBy() != "" || r.newestEvent().GetAuthorityRetired() == nil {
		t.Errorf("served out: %v, %v", state, r.newestEvent())
	}
	if err := r.reaches(tablet); err != nil {
		t.Errorf("renewed within it: %v", err)
	}
}

func TestRotateAuthority_AtOnceLeavesEverybodyOut(t *testing.T) {
	r := open(t)
	tablet := r.enrol("tablet-1")
	caller := r.caller(tablet)
	r.rotate(0)
	wantReason(t, r.Judge(caller), fault.Unidentified, "CERTIFICATE_RETIRED")
	wantReason(t, r.reaches(tablet), fault.Unidentified, "STATION_FOREIGN")
	if told := r.newestEvent().GetAuthorityRetired(); !slices.Equal(told.GetLeftOut(), []string{"tablet-1"}) {
		t.Errorf("the record tells %v", told)
	}
	if err := r.reaches(OpenWallet(FilesIn(r.AdministratorFolder()), r.clock.Now)); err != nil {
		t.Errorf("whoever runs the station: %v", err)
	}
}

// What the record does not take is not done.
func TestRotateAuthority_IsNotDoneUnrecorded(t *testing.T) {
	r := open(t)
	tablet, full := r.enrol("tablet-1"), func(*pb.JournalEvent) error { return os.ErrPermission }
	if _, err := r.RotateAuthority(&pb.RotateAuthorityRequest{}, "", full); err == nil || r.AuthorityState().GetNextSha256() != "" {
		t.Errorf("rotated: %v, %v", r.AuthorityState(), err)
	}
	r.rotate(time.Hour)
	if err := r.pass(2*time.Hour, full); err == nil || r.AuthorityState().GetNextSha256() == "" {
		t.Errorf("retired: %v, %v", r.AuthorityState(), err)
	}
	if err := r.reaches(tablet); err != nil {
		t.Errorf("the tablet: %v", err)
	}
	if err := r.pass(0, r.record); err != nil { // tried again, without waiting anew
		t.Fatal(err)
	}
	if left := r.AuthorityState().GetLeft().AsDuration(); left != time.Hour {
		t.Errorf("%v are left of an hour of which nothing could be noted", left)
	}
}

// Whatever a kill leaves of a rotation's files, the register says what counts: the next
// start finishes it, or says that something is missing that no kill takes away.
func TestOpenGate_FinishesWhatAKillLeftOfARotation(t *testing.T) {
	for _, tc := range []struct {
		name    string
		retired bool // the register had been written for the end of it
		leave   func(t *testing.T, folder string, former, next *authority)
		lost    bool
	}{
		{"the next one is made, and the register not written", false, func(t *testing.T, folder string, former, next *authority) {
			must(t, next.write(folder, nextFiles))
		}, false},
		{"only its key is there", false, func(t *testing.T, folder string, former, next *authority) {
			must(t, next.write(folder, nextFiles))
			must(t, os.Remove(filepath.Join(folder, nextFiles.cert)))
		}, false},
		{"retired, nothing is in its place", true, func(t *testing.T, folder string, former, next *authority) {
			must(t, former.write(folder, authorityFiles))
			must(t, next.write(folder, nextFiles))
		}, false},
		{"retired, the key is in its place", true, func(t *testing.T, folder string, former, next *authority) {
			must(t, next.write(folder, pair{authorityKeyFile, "other.pem"}))
			must(t, former.write(folder, pair{"other.key.pem", authorityCertFile}))
			must(t, next.write(folder, nextFiles))
		}, false},
		{"retired, both are in their place", true, func(t *testing.T, folder string, former, next *authority) {
			must(t, next.write(folder, nextFiles))
		}, false},
		{"retired, one file is left over", true, func(t *testing.T, folder string, former, next *authority) {
			must(t, next.write(folder, nextFiles))
			must(t, os.Remove(filepath.Join(folder, nextFiles.key)))
		}, false},
		{"retired, and the next one is gone", true, func(t *testing.T, folder string, former, next *authority) {
			must(t, former.write(folder, authorityFiles))
		}, true},
	} {
		t.Run(tc.name, func(t *testing.T) {
			r := open(t)
			former := r.keys.Load().shows
			tablet := r.enrol("tablet-1")
			next, err := newAuthority(r.clock.Now())
			must(t, err)
			if tc.retired {
				r.rotate(time.Hour)
				next = r.keys.Load().next
				r.renew(tablet)
				must(t, r.pass(time.Hour, r.record))
			}
			tc.leave(t, r.folder, former, next)
			gate, err := OpenGate(GateOptions{Folder: r.folder, Now: r.clock.Now})
			if tc.lost {
				wantReason(t, err, fault.Lost, "AUTHORITY_LOST")
				return
			}
			must(t, err)
			r.Gate = gate
			want := former.digest()
			if tc.retired {
				want = next.digest()
			}
			if r.AuthoritySHA256() != want || r.AuthorityState().GetNextSha256() != "" || mustReadKey(t, r.folder) != want || exists(r.folder, nextFiles.key) || exists(r.folder, nextFiles.cert) {
				t.Errorf("known by %s, want %s; %v", r.AuthoritySHA256(), want, r.AuthorityState())
			}
			if err := r.reaches(tablet); err != nil {
				t.Errorf("the tablet: %v", err)
			}
		})
	}
	r := open(t)
	r.rotate(time.Hour)
	must(t, os.Remove(filepath.Join(r.folder, nextFiles.cert)))
	_, err := OpenGate(GateOptions{Folder: r.folder, Now: r.clock.Now})
	wantReason(t, err, fault.Lost, "AUTHORITY_LOST")
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// rotates names the folder in which a copy of this program rotates without end.
const rotates = "BAYROUND_TEST_ROTATES"

// A station that is killed in the middle of a rotation again and again starts every
// time, lets in who runs it, and goes on with the rotation or without it.
func TestRotateAuthority_KilledInTheMiddle(t *testing.T) {
	if folder := os.Getenv(rotates); folder != "" {
		rotateForEver(folder)
	}
	r := open(t)
	for events := range 6 {
		child := exec.Command(os.Args[0], "-test.run=^TestRotateAuthority_KilledInTheMiddle$")
		child.Env = append(os.Environ(), rotates+"="+r.folder)
		told, err := child.StdoutPipe()
		must(t, err)
		must(t, child.Start())
		lines := bufio.NewScanner(told)
		for range events + 1 { // each is told while it is recorded: before the register is written
			if !lines.Scan() {
				t.Fatalf("it ended by itself: %v", lines.Err())
			}
		}
		must(t, child.Process.Kill())
		if err := child.Wait(); err == nil {
			t.Fatal("it was not killed")
		}
		r.reopen()
		if err := r.reaches(OpenWallet(FilesIn(r.AdministratorFolder()), r.clock.Now)); err != nil {
			t.Errorf("after %d events: %v", events+1, err)
		}
		if mustReadKey(t, r.folder) != r.AuthoritySHA256() {
			t.Errorf("after %d events the key on disk is another", events+1)
		}
		tablet := r.enrol(fmt.Sprintf("tablet-%d", events))
		if err := r.reaches(tablet); err != nil {
			t.Errorf("after %d events, a tablet: %v", events+1, err)
		}
	}
}

// rotateForEver rotates until it is killed.
func rotateForEver(folder string) {
	gate, err := OpenGate(GateOptions{Folder: folder, Now: time.Now})
	for err == nil {
		tell := func(*pb.JournalEvent) error {
			_, err := fmt.Println("recorded")
			return err
		}
		if gate.AuthorityState().GetNextSha256() == "" {
			_, err = gate.RotateAuthority(&pb.RotateAuthorityRequest{}, "", tell)
		} else {
			_, err = gate.RetireAuthority(&pb.RetireAuthorityRequest{LeaveOut: true}, "", tell)
		}
	}
	fmt.Fprintln(os.Stderr, err)
	os.Exit(1)
}
