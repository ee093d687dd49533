package notice

import (
	"encoding/json"
	"strings"
)

// Most is the greatest length of an event in bytes, with its attributes: what every
// intermediary must forward (CloudEvents 1.0, section "Size Limits").
const Most = 64 << 10

// Room, in bytes of JSON, for each part of a notice that can grow. Together with what
// cannot they stay within Most.
const (
	roomForReasons = 24 << 10
	roomForLimits  = 8 << 10
	roomForOverdue = 16 << 10
	roomForText    = 4 << 10
)

// fit leaves out what has no room, and counts it. What is worst stands first and stays.
func (n *Notice) fit() {
	all := len(n.Texts) + len(n.Limits) + len(n.Overdue)
	n.Texts, n.Limits, n.Overdue = within(n.Texts, roomForReasons), within(n.Limits, roomForLimits), within(n.Overdue, roomForOverdue)
	n.LeftOut = all - len(n.Texts) - len(n.Limits) - len(n.Overdue)
	if n.Defect != nil && size(n.Defect.Text) > roomForText {
		n.Defect.Text = clip(n.Defect.Text)
	}
}

// within are the first of all that have room.
func within[T any](all []T, room int) []T {
	for i, one := range all {
		if room -= size(one) + len(","); room < 0 {
			return all[:i]
		}
	}
	return all
}

func size(of any) int {
	b, _ := json.Marshal(of) // texts and steps cannot fail to encode
	return len(b)
}

// clip shortens a text until it has room, however its letters are written.
func clip(text string) string {
	for size(text) > roomForText {
		text = strings.ToValidUTF8(text[:len(text)/2], "")
	}
	return text + "…"
}
