package roundrecord

import (
	"encoding/hex"
	"fmt"
	"slices"

	"bayround/internal/admit"
	pb "bayround/proto/bayround/v1"
)

// SenderWords say who sent a command: by the certificate of its connection, which the
// station saw, not by the device that the command names.
func SenderWords(s *pb.Sender) string {
	switch {
	case s == nil:
		return "not recorded"
	case s.GetPlainText():
		return "a program on the station's own machine, in plain text: nobody knows which"
	case s.GetClient() == "":
		return "a program without a certificate"
	}
	return s.GetClient() + " (" + admit.Word(s.GetRole()) + "), certificate " + Fingerprint(s.GetCertificateSha256())
}

// Fingerprint is the SHA-256 of a certificate, shortened to be compared by eye.
func Fingerprint(sha256 []byte) string {
	return hex.EncodeToString(sha256[:min(8, len(sha256))]) + "…"
}

// Senders say who sent the commands of the round, each once, in the order of the first.
func (r *Record) Senders() (words []string) {
	for _, ev := range r.Events {
		if one := SenderWords(ev.GetSender()); !slices.Contains(words, one) {
			words = append(words, one)
		}
	}
	return words
}

// Unproven are the people of the round whose role is not proven, as they are called, each
// with the event that says so.
func (r *Record) Unproven() (told []string) {
	for _, ev := range r.Events {
		for _, person := range ev.GetRoleUnproven() {
			told = append(told, fmt.Sprintf("%s, event %d", r.Person(person), ev.GetSequence()))
		}
	}
	return told
}
