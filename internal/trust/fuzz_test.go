package trust

import (
	"bytes"
	"crypto/sha256"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"bayround/internal/admit"
	"bayround/internal/fault"
)

func FuzzParseIdentity(f *testing.F) {
	f.Add("bayround://tablet/tablet-1/3f2c1a77-0b7e-4a9e-9d53-0c1b2a3d4e5f")
	f.Add("bayround://system/a//3f2c1a77-0b7e-4a9e-9d53-0c1b2a3d4e5f")
	f.Add("bayround://station")
	f.Add("bayround://nobody/x/3f2c1a77-0b7e-4a9e-9d53-0c1b2a3d4e5f")
	f.Add("")
	f.Fuzz(func(t *testing.T, text string) {
		who, err := parseIdentity(text)
		if err != nil {
			return
		}
		if who.String() != text {
			t.Errorf("%q is read as %q", text, who)
		}
		if !namePattern.MatchString(who.Name) || admit.Word(who.Role) == "nobody" {
			t.Errorf("%q names %+v", text, who)
		}
	})
}

func FuzzReadCode(f *testing.F) {
	f.Add("7K3M-PQRS-TVWX-YZ01")
	f.Add(" oil7k3mpqrstvwx ")
	f.Add("-")
	f.Add("\x00\xff")
	f.Fuzz(func(t *testing.T, typed string) {
		code, err := ReadCode(typed)
		if err != nil {
			return
		}
		if again, err := ReadCode(SpellCode(code)); err != nil || again != code {
			t.Errorf("%q is read as %q, which is read as %q: %v", typed, code, again, err)
		}
	})
}

func FuzzReadPin(f *testing.F) {
	f.Add(strings.Repeat("a0", 32))
	f.Add("SHA256:" + strings.Repeat("A0", 32))
	f.Add("")
	f.Fuzz(func(t *testing.T, typed string) {
		pin, err := ReadPin(typed)
		if err == nil && (len(pin) != 64 || strings.Trim(pin, "0123456789abcdef") != "") {
			t.Errorf("%q is read as %q", typed, pin)
		}
	})
}

func FuzzParseRegister(f *testing.F) {
	f.Add([]byte(`{"version":1,"clients":[{"name":"tablet-1","role":1}],"codes":[{"device":"tablet-2","tries":4}]}`))
	f.Add([]byte(`{"version":2,"authority":"aa","rotation":{"next":"bb","left_ns":5}}`))
	f.Add([]byte(`{"version":1,"rotation":{"next":"bb"}}`))
	f.Add([]byte(`{"version":3}`))
	f.Add([]byte(`{"version":1,"clients":null}`))
	f.Add([]byte(`[`))
	f.Add([]byte(``))
	f.Fuzz(func(t *testing.T, b []byte) {
		r, err := parseRegister("register.json", b)
		if err == nil && (r.Version < firstVersion || r.Version > registerVersion || r.Version == firstVersion && r.Rotation != nil) {
			t.Errorf("version %d was taken", r.Version)
		}
		if err != nil && asFault(err) == nil {
			t.Errorf("%v says nothing to whoever runs the station", err)
		}
	})
}

func FuzzRequestedKey(f *testing.F) {
	a, err := NewApplicant()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(a.Request())
	f.Add(a.Request()[:40])
	f.Add([]byte{0x30, 0x80})
	f.Fuzz(func(t *testing.T, der []byte) {
		key, err := requestedKey(der)
		if (key == nil) == (err == nil) || err != nil && !fault.Is(err, fault.Invalid) {
			t.Errorf("%v, %v", key, err)
		}
	})
}

func FuzzParseCertificates(f *testing.F) {
	a, err := newAuthority(time.Now())
	if err != nil {
		f.Fatal(err)
	}
	one := encodeCertificate(a.cert.Raw)
	f.Add(one)
	f.Add(append(one, one...))
	f.Add(append(one, "more"...))
	f.Add([]byte(""))
	f.Fuzz(func(t *testing.T, b []byte) {
		all, err := parseCertificates("ca.pem", b)
		if (err == nil) != (len(all) > 0) {
			t.Fatalf("%d certificates, %v", len(all), err)
		}
		if again, err := parseCertificates("ca.pem", encodeCertificates(all)); len(all) > 0 && (err != nil || len(again) != len(all)) {
			t.Errorf("%d certificates are read as %d: %v", len(all), len(again), err)
		}
	})
}

func FuzzParseBlock(f *testing.F) {
	f.Add(encodeCertificate([]byte{1, 2, 3}))
	f.Add([]byte("-----BEGIN CERTIFICATE-----\n"))
	f.Add([]byte(""))
	f.Fuzz(func(t *testing.T, b []byte) {
		der, err := parseBlock("cert.pem", b, pemCertificate)
		if err != nil {
			return
		}
		if back, err := parseBlock("cert.pem", encodeCertificate(der), pemCertificate); err != nil || !bytes.Equal(back, der) {
			t.Errorf("%x is read back as %x: %v", der, back, err)
		}
	})
}

// A code in any order of right and wrong tries and waits, held against its rules
// said in one line each: so many minutes, so many wrong tries, one request.
func TestCode_AnyOrderKeepsItsRules(t *testing.T) {
	const right, wrong = "0123456789ABCDEF", "0123456789ABCDEG"
	rapid.Check(t, func(t *rapid.T) {
		now := time.Date(2026, 3, 2, 7, 30, 0, 0, time.UTC)
		c, opened := &code{Device: "tablet-1", Key: macKey(right), Opened: now}, now
		missed, usedBy := 0, byte(0)
		for range rapid.IntRange(1, 15).Draw(t, "tries") {
			now = now.Add(time.Duration(rapid.IntRange(0, 180).Draw(t, "seconds")) * time.Second)
			typed, request := rapid.SampledFrom([]string{right, wrong}).Draw(t, "typed"), rapid.ByteRange(1, 2).Draw(t, "request")
			a := attempt{device: "tablet-1", request: []byte{request}, spkis: [][]byte{{9}}}
			a.mac = macOf(macKey(typed), a.device, a.request, a.spkis[0])
			open := now.Sub(opened) < 15*time.Minute && missed < 5
			why := c.refuse(a, now)
			if want := open && typed == right && (usedBy == 0 || usedBy == request); (why == nil) != want {
				t.Fatalf("%v after it was opened, %d missed, used by %d, %s of request %d: %v", now.Sub(opened), missed, usedBy, typed, request, why)
			}
			if open && typed == wrong {
				missed++
			}
			if why == nil && usedBy == 0 {
				usedBy = request
				sum := sha256.Sum256(a.request)
				c.Request, c.Certificate = sum[:], []byte{1}
			}
		}
	})
}
