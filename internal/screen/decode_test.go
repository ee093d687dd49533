package screen

import (
	"encoding/json"
	"maps"
	"net/url"
	"strings"
	"testing"

	"bayround/internal/round"
)

func TestDecodeFrame(t *testing.T) {
	for _, tc := range []struct{ why, frame, wrong string }{
		{"an act", `{"id":"ab.cd.1","act":"resume-round","values":{"round":"rounds/x"}}`, ""},
		{"no values", `{"act":"next"}`, ""},
		{"nothing", ``, "one act in JSON"},
		{"no JSON", `go`, "one act in JSON"},
		{"two acts", `{"act":"next"}{"act":"next"}`, "nothing after it"},
		{"a word after it", `{"act":"next"} x`, "nothing after it"},
		{"a field nobody knows", `{"act":"next","sudo":true}`, "one act in JSON"},
		{"no name", `{"id":"ab.cd.1"}`, "name of the act"},
		{"a name with a path in it", `{"act":"../next"}`, "name of the act"},
		{"a long name", `{"act":"` + strings.Repeat("a", 33) + `"}`, "name of the act"},
		{"a value that is no text", `{"act":"go","values":{"step":7}}`, "one act in JSON"},
		{"the name of a value", `{"act":"go","values":{"__proto__":"x"}}`, "name of a value"},
		{"a value too long", `{"act":"note","values":{"text":"` + strings.Repeat("n", 4097) + `"}}`, "at most 4096 bytes"},
		{"a control character", `{"act":"note","values":{"text":"a\u0000b"}}`, "plain text"},
		{"lines", `{"act":"note","values":{"text":"a\r\nb\tc"}}`, ""},
		{"no UTF-8", "{\"act\":\"note\",\"values\":{\"text\":\"\xff\"}}", "UTF-8"},
		{"an id of another shape", `{"id":"1","act":"next"}`, "id of the act"},
		{"too many values", `{"act":"go","values":{` + manyValues(17) + `}}`, "at most 16"},
	} {
		t.Run(tc.why, func(t *testing.T) {
			_, _, err := decodeFrame([]byte(tc.frame))
			switch {
			case tc.wrong == "" && err != nil:
				t.Errorf("refused: %v", err)
			case tc.wrong != "" && (err == nil || !strings.Contains(err.Error(), tc.wrong)):
				t.Errorf("the error is %v, want %q in it", err, tc.wrong)
			}
		})
	}
}

func manyValues(n int) string {
	var all []string
	for i := range n {
		all = append(all, `"v`+strings.Repeat("a", i)+`":""`)
	}
	return strings.Join(all, ",")
}

func TestDecodeForm_SaysTheSameAsTheFrame(t *testing.T) {
	form := url.Values{"act": {"go"}, "act-id": {"ab.cd.1"}, "step": {"TYR-010/axle-1-left"}, "id": {"depth-1"}}
	id, act, err := decodeForm(form)
	if err != nil {
		t.Fatal(err)
	}
	frameID, same, err := decodeFrame([]byte(`{"id":"ab.cd.1","act":"go","values":{"step":"TYR-010/axle-1-left","id":"depth-1"}}`))
	if err != nil || id != frameID || act.Name != same.Name || !maps.Equal(act.Values, same.Values) {
		t.Errorf("the form says %s %+v, the frame %s %+v, %v", id, act, frameID, same, err)
	}
	if _, _, err := decodeForm(url.Values{"act": {"go", "next"}}); err == nil {
		t.Error("a form with two acts was taken")
	}
}

// lawful says that an act has the shape that the desk is promised.
func lawful(t *testing.T, id string, act round.Act) {
	t.Helper()
	if id != "" && !actID.MatchString(id) || !actName.MatchString(act.Name) || len(act.Values) > mostValues {
		t.Errorf("taken: id %q, act %+v", id, act)
	}
	for key, value := range act.Values {
		if !valueName.MatchString(key) || !plainText(value) {
			t.Errorf("taken: value %q=%q", key, value)
		}
	}
}

func FuzzDecodeFrame(f *testing.F) {
	f.Add([]byte(`{"id":"ab.cd.1","act":"key","values":{"key":"7"}}`))
	f.Add([]byte(`{"act":"next"}{`))
	f.Add([]byte(`[{"act":"next"}]`))
	f.Add([]byte("{\"act\":\"note\",\"values\":{\"text\":\"\\ud800\xff\"}}"))
	f.Fuzz(func(t *testing.T, frame []byte) {
		id, act, err := decodeFrame(frame)
		if err != nil {
			return
		}
		lawful(t, id, act)
		again, err := json.Marshal(message{id, act.Name, act.Values})
		if err != nil {
			t.Fatal(err)
		}
		sameID, same, err := decodeFrame(again)
		if err != nil || sameID != id || same.Name != act.Name || !maps.Equal(same.Values, act.Values) {
			t.Errorf("%s reads back as %s %+v, %v", again, sameID, same, err)
		}
	})
}

func FuzzDecodeForm(f *testing.F) {
	f.Add("act=key&key=7&act-id=ab.cd.1")
	f.Add("act=go&act=next")
	f.Add("act=note&text=%00%ff")
	f.Add("=&act")
	f.Fuzz(func(t *testing.T, body string) {
		form, err := url.ParseQuery(body)
		if err != nil {
			return
		}
		if id, act, err := decodeForm(form); err == nil {
			lawful(t, id, act)
		}
	})
}
