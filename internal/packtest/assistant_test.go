package packtest

import (
	"strings"
	"testing"
	"unicode"
)

// An item that needs an assistant has a command short enough to be called across
// a yard (at most eight words; common practice); what one person alone may do
// instead says that it is common practice. No other item has either.
func TestAssistant_IsToldWhatToDo(t *testing.T) {
	const mostWords, mostWordsAlone = 8, 25
	d := ours(t)
	asked, alone := 0, 0
	for _, id := range d.itemIDs() {
		item := d.items[id]
		command, method := item.GetAssistantCommand(), item.GetAlonePrompt()
		if !item.GetState().GetAssistant() {
			if command != "" || method != "" {
				t.Errorf("%s needs no assistant and has %q, %q", id, command, method)
			}
			continue
		}
		asked++
		if n := len(strings.Fields(command)); n == 0 || n > mostWords || !unicode.IsUpper(rune(command[0])) || strings.HasSuffix(command, ".") {
			t.Errorf("%s: %q is no command of one to %d words", id, command, mostWords)
		}
		if method == "" {
			continue
		}
		alone++
		if len(strings.Fields(method)) > mostWordsAlone || !strings.HasSuffix(method, ".") {
			t.Errorf("%s: %q is no short sentence", id, method)
		}
		if !strings.Contains(item.GetSource(), "one person alone: common practice") {
			t.Errorf("%s: the source does not say where its method for one person comes from: %s", id, item.GetSource())
		}
	}
	if asked != 28 || alone != 16 {
		t.Errorf("%d items need an assistant and %d can be done alone; want 28 and 16", asked, alone)
	}
}
