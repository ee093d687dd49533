package screen

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/url"
	"regexp"
	"unicode"
	"unicode/utf8"

	"bayround/internal/round"
)

const (
	mostValues   = 16
	longestValue = 4 << 10
)

var (
	actName   = regexp.MustCompile(`^[a-z]+(-[a-z]+)*$`)
	valueName = regexp.MustCompile(`^[a-z][a-z0-9]*([-_][a-z0-9]+)*$`)
	actID     = regexp.MustCompile(`^[0-9a-zA-Z]{1,24}(\.[0-9a-zA-Z]{1,24}){2}$`)
)

// message is an act as a page's script sends it.
type message struct {
	ID     string            `json:"id"`
	Act    string            `json:"act"`
	Values map[string]string `json:"values"`
}

// decodeFrame reads an act from a text frame. The id is chosen by the page.
func decodeFrame(frame []byte) (id string, act round.Act, err error) {
	if !utf8.Valid(frame) {
		return "", round.Act{}, errors.New("a frame must be UTF-8")
	}
	var m message
	d := json.NewDecoder(bytes.NewReader(frame))
	d.DisallowUnknownFields()
	if err := d.Decode(&m); err != nil {
		return "", round.Act{}, errors.New("a frame must be one act in JSON")
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return "", round.Act{}, errors.New("a frame holds one act and nothing after it")
	}
	act, err = newAct(m.ID, m.Act, m.Values)
	return m.ID, act, err
}

// decodeForm reads an act from a form. Its field act-id is there when the script
// sends again what a socket did not answer.
func decodeForm(form url.Values) (id string, act round.Act, err error) {
	var name string
	values := map[string]string{}
	for key, all := range form {
		if len(all) != 1 {
			return "", round.Act{}, fmt.Errorf("the form gives %d values for one field", len(all))
		}
		switch key {
		case "act":
			name = all[0]
		case "act-id":
			id = all[0]
		default:
			values[key] = all[0]
		}
	}
	act, err = newAct(id, name, values)
	return id, act, err
}

// newAct checks the shape of an act; what it means is for the desk to know.
func newAct(id, name string, values map[string]string) (round.Act, error) {
	switch {
	case id != "" && !actID.MatchString(id):
		return round.Act{}, errors.New("the id of the act is malformed")
	case len(name) > 32 || !actName.MatchString(name):
		return round.Act{}, errors.New("the name of the act is malformed")
	case len(values) > mostValues:
		return round.Act{}, fmt.Errorf("an act has at most %d values", mostValues)
	}
	for key, value := range values {
		if len(key) > 32 || !valueName.MatchString(key) {
			return round.Act{}, errors.New("the name of a value is malformed")
		}
		if !plainText(value) {
			return round.Act{}, fmt.Errorf("value %s must be plain text of at most %d bytes", key, longestValue)
		}
	}
	return round.Act{Name: name, Values: values}, nil
}

// plainText allows line ends, tabs and whatever can be seen. A form gives CR LF.
func plainText(s string) bool {
	if len(s) > longestValue || !utf8.ValidString(s) {
		return false
	}
	for _, c := range s {
		if unicode.IsControl(c) && c != '\n' && c != '\r' && c != '\t' {
			return false
		}
	}
	return true
}
