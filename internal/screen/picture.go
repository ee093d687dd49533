package screen

import (
	"bytes"
	"encoding/json"
	"fmt"
	"sync"
	"time"

	"github.com/gorilla/websocket"
)

// beat is what every frame carries, so that a page knows how old its picture is.
type beat struct {
	At    int64  `json:"at"`              // when the frame was made, in milliseconds since 1970 by the kiosk's clock
	AgeMS int64  `json:"age"`             // how long before that the station was last heard; -1 when it never was
	Live  bool   `json:"live"`            // the picture may be taken for the truth
	Since string `json:"since,omitempty"` // since when it is not live, hh:mm; empty when it never was
	Clock string `json:"clock,omitempty"` // when the station was last heard, hh:mm there; empty when it never was
	Fault string `json:"fault,omitempty"` // why nothing could be drawn
}

// wire is one frame to a page.
type wire struct {
	V       uint64       `json:"v"`
	Build   string       `json:"build"`
	Boot    string       `json:"boot"`
	Regions []wireRegion `json:"regions,omitempty"`
	Beat    beat         `json:"beat"`
	Ack     string       `json:"ack,omitempty"`     // id of an act that was carried out or refused
	Refused string       `json:"refused,omitempty"` // why, in words
}

// wireRegion is a region in a frame.
type wireRegion struct {
	ID   string `json:"id"`
	HTML string `json:"html"`
}

// encode leaves < and > as they are: a frame is never part of a page.
func (w wire) encode() ([]byte, error) {
	var out bytes.Buffer
	e := json.NewEncoder(&out)
	e.SetEscapeHTML(false)
	if err := e.Encode(w); err != nil {
		return nil, fmt.Errorf("encoding a frame: %w", err)
	}
	return bytes.TrimRight(out.Bytes(), "\n"), nil
}

// picture is one whole state of a page. It is never changed once others can see it.
type picture struct {
	version uint64   // rises with each picture in which a region changed
	regions []region // in the page's order
	changed []uint64 // by region: version in which it last changed
	beat    beat
	build   string
	boot    string

	mu       sync.Mutex
	prepared map[uint64]*websocket.PreparedMessage // guarded by mu: frames by the version seen before
}

// next is the picture that follows p, nil at first.
func (p *picture) next(regions []region, b beat) *picture {
	n := &picture{version: 1, regions: regions, changed: make([]uint64, len(regions)), beat: b}
	former := map[string]int{}
	if p != nil {
		n.version, n.build, n.boot = p.version+1, p.build, p.boot
		for i, r := range p.regions {
			former[r.ID] = i
		}
	}
	same := p != nil && len(p.regions) == len(regions)
	for i, r := range regions {
		n.changed[i] = n.version
		if at, ok := former[r.ID]; ok && p.regions[at].HTML == r.HTML {
			n.changed[i] = p.changed[at]
		} else {
			same = false
		}
	}
	if same {
		n.version = p.version
	}
	return n
}

// after is the frame for whoever has seen version seen, 0 for nothing: the regions
// that changed since. All who saw the same share its bytes.
func (p *picture) after(seen uint64) (*websocket.PreparedMessage, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if m, ok := p.prepared[seen]; ok {
		return m, nil
	}
	bytes, err := p.wire(seen).encode()
	if err != nil {
		return nil, err
	}
	m, err := websocket.NewPreparedMessage(websocket.TextMessage, bytes)
	if err != nil {
		return nil, fmt.Errorf("preparing a frame: %w", err)
	}
	if p.prepared == nil {
		p.prepared = map[uint64]*websocket.PreparedMessage{}
	}
	p.prepared[seen] = m
	return m, nil
}

func (p *picture) wire(seen uint64) wire {
	w := wire{V: p.version, Build: p.build, Boot: p.boot, Beat: p.beat}
	for i, r := range p.regions {
		if p.changed[i] > seen {
			w.Regions = append(w.Regions, wireRegion(r))
		}
	}
	return w
}

// beatOf says how old the station's data are at now.
func beatOf(now, heard time.Time, live bool, since string) beat {
	b := beat{At: now.UnixMilli(), AgeMS: -1, Live: live}
	if !heard.IsZero() {
		b.AgeMS = max(now.Sub(heard).Milliseconds(), 0)
	}
	if !live {
		b.Since = since
	}
	return b
}
