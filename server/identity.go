package main

import (
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"

	"bayround/internal/command"
	"bayround/internal/rpc"
	"bayround/internal/trust"
)

// trustFolder is where a station's keys and register lie beside its record.
const trustFolder = "trust"

// usualIdentities are where the identity of whoever runs a station on its machine is
// looked for.
var usualIdentities = []string{filepath.Join("data", trustFolder, "administrator"), "/var/lib/bayround/" + trustFolder + "/administrator"}

// identity is as whom a station is asked.
type identity struct {
	plain  bool
	folder string
	files  trust.Files
}

// add gives all commands the flags.
func (i *identity) add(root *cobra.Command) {
	flags := root.PersistentFlags()
	flags.BoolVar(&i.plain, "plaintext-on-loopback", os.Getenv("BAYROUND_PLAINTEXT_ON_LOOPBACK") == "1",
		"no encryption and no certificates: anybody on this machine may do everything; for trying things out, and on this machine alone")
	flags.StringVar(&i.folder, "identity", os.Getenv("BAYROUND_IDENTITY"),
		"folder with ca.pem, cert.pem and key.pem to ask a station with; looked for below ./data and /var/lib/bayround when left out. BAYROUND_IDENTITY sets another preset")
	flags.StringVar(&i.files.CA, "ca", "", "certificate of the station's authority, where it lies elsewhere")
	flags.StringVar(&i.files.Cert, "cert", "", "certificate to ask a station with, where it lies elsewhere")
	flags.StringVar(&i.files.Key, "key-file", "", "key of that certificate, where it lies elsewhere")
}

// dial connects to a station; whether it is there shows at the first call.
func (c *console) dial(address string, more ...grpc.DialOption) (*grpc.ClientConn, error) {
	if c.identity.plain {
		return rpc.Dial(address, more...)
	}
	wallet, err := c.wallet()
	if err != nil {
		return nil, err
	}
	return rpc.DialSecure(address, wallet, more...)
}

// wallet opens the identity, whose key it closes to others on this machine.
func (c *console) wallet() (*trust.Wallet, error) {
	files, err := c.identity.find()
	if err != nil {
		return nil, err
	}
	open, err := trust.CloseAlone(files.Key)
	if len(open) > 0 {
		c.Complain("note: others on this machine could open %s until now; it is closed to them. If one of them may have read it, let this program in anew: server revoke, server admit", files.Key)
	}
	return trust.OpenWallet(files, time.Now), err
}

// find is where the identity lies.
func (i *identity) find() (trust.Files, error) {
	files := trust.Files{}
	switch {
	case i.folder != "":
		files = trust.FilesIn(i.folder)
	case i.files == files:
		for _, folder := range usualIdentities {
			if _, err := os.Stat(trust.FilesIn(folder).Cert); err == nil {
				return trust.FilesIn(folder), nil
			}
		}
		return files, command.Misuse("as whom? Say --identity FOLDER, or set BAYROUND_IDENTITY. On the station's own machine it is the folder %s/administrator "+
			"of its data; for another machine server admit makes one", trustFolder)
	}
	for to, said := range map[*string]string{&files.CA: i.files.CA, &files.Cert: i.files.Cert, &files.Key: i.files.Key} {
		if said != "" {
			*to = said
		}
	}
	if files.CA == "" || files.Cert == "" || files.Key == "" {
		return files, command.Misuse("say all three: --ca, --cert and --key-file; or --identity with a folder that holds them")
	}
	return files, nil
}
