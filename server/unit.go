package main

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"github.com/spf13/cobra"

	"bayround/internal/command"
)

const unitHelp = `Print a systemd unit that runs the station as a service: with a user of its own, nothing
writable but its own folder, and restarted when it ends otherwise than it should.

A record that is damaged (exit code 5) is not served again and again: a person must act. A
station that stopped itself because a write failed (6), or that can repair its record at its next
start (7), is started again. A station that is stuck is ended and started again.

The unit names a user that must be there; the folder below /var/lib it makes itself.`

const unitExample = `  server unit > /etc/systemd/system/bayround.service
  useradd --system --home-dir /nonexistent --shell /usr/sbin/nologin bayround
  systemctl daemon-reload && systemctl enable --now bayround
  server unit --user station --name skarholm-quay --rules /etc/bayround/rules`

// unitFlags are what unit is told.
type unitFlags struct {
	program string
	user    string
	name    string
	rules   string
	memory  string
}

func newUnit(c *console) *cobra.Command {
	var f unitFlags
	cmd := &cobra.Command{
		Use:     "unit",
		Short:   "Print a systemd unit that runs the station",
		Long:    unitHelp,
		Example: unitExample,
		Args:    cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			unit, err := f.unit()
			if err != nil {
				return err
			}
			c.Say("%s", strings.TrimSuffix(unit, "\n"))
			return nil
		},
	}
	flags := cmd.Flags()
	flags.StringVar(&f.program, "program", "", "path of this program; empty for where it lies now")
	flags.StringVar(&f.user, "user", "bayround", "user the station runs as")
	flags.StringVar(&f.name, "name", "bayround", "name of its folder below /var/lib")
	flags.StringVar(&f.rules, "rules", "", "folder for serve --rules; empty for none")
	flags.StringVar(&f.memory, "memory-max", "256M", "memory beyond which the station is ended and started again")
	return cmd
}

// plainName is what may stand in a unit without quotes and without meaning
// anything else there.
var plainName = regexp.MustCompile(`^[A-Za-z0-9_][A-Za-z0-9_.-]*$`)

// plainPath is the same for paths.
var plainPath = regexp.MustCompile(`^/[A-Za-z0-9_./-]*$`)

func (f *unitFlags) unit() (string, error) {
	if f.program == "" {
		program, err := os.Executable()
		if err != nil {
			return "", fmt.Errorf("finding this program: %w", err)
		}
		f.program = program
	}
	for flag, value := range map[string]string{"user": f.user, "name": f.name, "memory-max": f.memory} {
		if !plainName.MatchString(value) {
			return "", command.Misuse("--%s %q must be letters, digits, dots, dashes and underscores", flag, value)
		}
	}
	for flag, value := range map[string]string{"program": f.program, "rules": f.rules} {
		if !plainPath.MatchString(value) && (flag != "rules" || value != "") {
			return "", command.Misuse("--%s %q must be a whole path without spaces or signs that systemd reads", flag, value)
		}
	}
	serve := f.program + " serve --data " + filepath.Join("/var/lib", f.name) + " --log-format json"
	if f.rules != "" {
		serve += " --rules " + f.rules
	}
	return fmt.Sprintf(unitText, serve, command.ExitMisused, command.ExitRefused, command.ExitDamaged, f.memory, f.user, f.name), nil
}

// unitText is the unit. TimeoutStopSec leaves room for the ten seconds in which serve
// stops; a start may make all rows anew, which takes minutes for a long record.
// WatchdogSec is long beside a commit and short beside a shift.
const unitText = `[Unit]
Description=Bayround station
After=network.target local-fs.target
StartLimitIntervalSec=0

[Service]
Type=notify
NotifyAccess=main
ExecStart=%s
Restart=on-failure
RestartSec=2
RestartPreventExitStatus=%d %d %d
TimeoutStartSec=15min
TimeoutStopSec=15
WatchdogSec=60
MemoryMax=%s
LimitNOFILE=4096

User=%s
StateDirectory=%s
StateDirectoryMode=0700
UMask=0077
NoNewPrivileges=yes
CapabilityBoundingSet=
ProtectSystem=strict
ProtectHome=yes
ProtectProc=invisible
ProtectClock=yes
ProtectHostname=yes
ProtectControlGroups=yes
ProtectKernelLogs=yes
ProtectKernelModules=yes
ProtectKernelTunables=yes
PrivateDevices=yes
PrivateTmp=yes
LockPersonality=yes
MemoryDenyWriteExecute=yes
RestrictAddressFamilies=AF_INET AF_INET6 AF_UNIX
RestrictNamespaces=yes
RestrictRealtime=yes
RestrictSUIDSGID=yes
SystemCallArchitectures=native
SystemCallFilter=@system-service
SystemCallErrorNumber=EPERM

[Install]
WantedBy=multi-user.target
`
