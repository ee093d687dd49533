package notice

import (
	"encoding/json"
	"fmt"
	"time"
)

// Prefix stands before the kind in an event's type; its number rises when the data of
// a kind changes so that a reader must change, too.
const Prefix = "bayround.v1."

// Mode is how an event lies in an HTTP request.
type Mode string

// The content modes of the CloudEvents HTTP protocol binding. In the structured mode
// the signature covers the whole event, in the binary one the id and the data.
const (
	Structured Mode = "structured" // the body is the event
	Binary     Mode = "binary"     // the body is the data, the headers tell the rest
)

// The media types of both modes.
const (
	structuredType = "application/cloudevents+json"
	dataType       = "application/json"
)

// envelope is a CloudEvent in the JSON event format.
type envelope struct {
	SpecVersion string    `json:"specversion"`
	ID          string    `json:"id"`
	Source      string    `json:"source"`
	Type        string    `json:"type"`
	Subject     string    `json:"subject,omitempty"`
	Time        time.Time `json:"time"`
	DataType    string    `json:"datacontenttype"`
	// Sequence orders the events of a source, as the CloudEvents extension of this
	// name: text that sorts as the numbers do. Several may bear the same.
	Sequence string `json:"sequence"`
	Data     any    `json:"data"`
}

// Message is a notice ready to be sent: its id and how it lies in an HTTP request.
type Message struct {
	ID     string
	Header map[string]string
	Body   []byte
}

// Message makes the message that carries a notice. source names the record that it
// comes from.
func (n Notice) Message(mode Mode, source string) (Message, error) {
	return envelope{
		ID: n.ID, Source: source, Type: Prefix + string(n.Kind), Subject: n.Vehicle,
		Time: n.At, Sequence: fmt.Sprintf("%019d", n.Sequence), Data: n,
	}.message(mode)
}

// Test makes a message that tells of nothing, of type Prefix + "test".
func Test(id string, at time.Time, mode Mode) (Message, error) {
	return envelope{
		ID: id, Source: "/bayround/test", Type: Prefix + "test", Time: at, Sequence: fmt.Sprintf("%019d", 0),
		Data: map[string]string{"kind": "test", "text": "A test: no vehicle stands otherwise than before."},
	}.message(mode)
}

func (e envelope) message(mode Mode) (m Message, err error) {
	e.SpecVersion, e.Time, e.DataType, m.ID = "1.0", e.Time.UTC(), dataType, e.ID
	if mode == Structured {
		m.Header = map[string]string{"content-type": structuredType}
		m.Body, err = json.Marshal(e)
		return m, err
	}
	m.Header = map[string]string{
		"content-type": dataType, "ce-specversion": e.SpecVersion, "ce-id": e.ID, "ce-source": e.Source, "ce-type": e.Type,
		"ce-time": e.Time.Format(time.RFC3339Nano), "ce-sequence": e.Sequence,
	}
	if e.Subject != "" {
		m.Header["ce-subject"] = e.Subject
	}
	m.Body, err = json.Marshal(e.Data)
	return m, err
}
