package screen

import (
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"
)

// deskActs are the tablet's acts and the values that may come with them, as the desk
// understands them. What is asked of a person stands first.
var deskActs = map[string][]string{
	"choose": {"vehicle", "routine"}, "resume-round": {"round"}, "sign-in": {"person", "pin"}, "sign-out": nil,
	"assistant": {"person"}, "engine": {"minutes", "unknown", "running"}, "ambient": {"text"}, "figure": {"figure", "text"}, "minutes": {"minutes"}, "gauge": {"gauge"}, "begin": nil, "home": nil,
	"release-page": {"defect"}, "release-later": nil, "release": {"pin", "person", "checked", "defect"}, "open-hand-over": {"vehicle"}, "answers": nil, "answers-read": {"seen"}, "answers-later": nil,
	"go": {"step"}, "next": nil, "previous": nil, "field": {"id"}, "key": {"key"}, "enter": nil, "section": {"n"}, "grooves": {"n"},
	"level": {"mark", "fraction"}, "see": {"condition"}, "count": {"condition", "affected"}, "note": {"text"}, "proof": {"text"},
	"drop-photo": {"sha256"}, "record": {"left"}, "control": nil, "take": {"do"}, "take-again": nil, "read-again": nil, "by-hand": {"on"}, "confirm": nil, "alone": {"on"}, "skip": {"reason", "note"}, "undo": nil,
	"cure": {"done", "amount", "unit", "step"}, "cure-cancel": nil, "correct": {"step"},
	"turnout": nil, "safe": {"step"}, "away": nil, "back": nil, "overview": nil, "walk": nil, "sign-page": nil, "hand-note": {"text"},
	"sign": {"pin", "seen"}, "give-up": {"note"}, "done": nil, "dismiss": {"id"}, "dismiss-notice": nil, "compare": {"how"}, "stop": {"stopped", "person", "here", "reason", "text"},
	"run": {"vehicle"}, "wheels": {"vehicle"}, "stock-came": nil, "stock-counted": nil,
	"tell-when": {"minutes"}, "tell-what": {"what"}, "tell": {"note", "odometer", "amount", "person"}, "tell-done": nil,
	"hand-over": {"pin"},
	"take-over": {"person", "pin"},
	"second":    {"round"}, "sign-second": {"person", "pin", "seen"}, "later": nil, "wake": {"pin"}, "unlock": {"locked", "person", "pin"}, "badge": {"text"},
}

// walkNodes calls do with every element of a page, in order.
func walkNodes(n *html.Node, do func(*html.Node)) {
	if n.Type == html.ElementNode {
		do(n)
	}
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		walkNodes(c, do)
	}
}

func attr(n *html.Node, name string) (string, bool) {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val, true
		}
	}
	return "", false
}

func attribute(n *html.Node, name string) string {
	v, _ := attr(n, name)
	return v
}

func hasClass(n *html.Node, classes ...string) bool {
	return slices.ContainsFunc(strings.Fields(attribute(n, "class")), func(c string) bool { return slices.Contains(classes, c) })
}

// wordsOf is what is read of an element.
func wordsOf(n *html.Node) string {
	if n.Type == html.TextNode {
		return n.Data
	}
	var all strings.Builder
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		all.WriteString(wordsOf(c))
	}
	return all.String()
}

func above(n *html.Node, tag string) *html.Node {
	for p := n.Parent; p != nil; p = p.Parent {
		if p.Type == html.ElementNode && p.Data == tag {
			return p
		}
	}
	return nil
}

// formOf is the form that a control belongs to, by its place or by its own word.
func formOf(doc, n *html.Node) *html.Node {
	id, own := attr(n, "form")
	if !own {
		return above(n, "form")
	}
	var named *html.Node
	walkNodes(doc, func(f *html.Node) {
		if f.Data == "form" && attribute(f, "id") == id {
			named = f
		}
	})
	return named
}

func parsePage(t testing.TB, page []byte) *html.Node {
	t.Helper()
	doc, err := html.Parse(strings.NewReader(string(page)))
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

// samplePages calls do with the parsed page of every sample.
func samplePages(t *testing.T, do func(t *testing.T, doc *html.Node)) {
	t.Helper()
	for _, name := range sampleNames(t) {
		t.Run(name, func(t *testing.T) { do(t, parsePage(t, samplePage(t, name, ""))) })
	}
}

func isControl(n *html.Node) bool {
	switch n.Data {
	case "button", "summary", "textarea":
		return true
	case "input":
		return attribute(n, "type") != "hidden"
	}
	return false
}

// accessibleName is what a control is called, by its label or by its own words.
func accessibleName(n *html.Node) string {
	if name := attribute(n, "aria-label"); name != "" {
		return name
	}
	if n.Data == "button" || n.Data == "summary" {
		return strings.TrimSpace(wordsOf(n))
	}
	if label := above(n, "label"); label != nil {
		return strings.TrimSpace(wordsOf(label))
	}
	return ""
}

func TestTabletPage_EveryControlIsNamedAndLarge(t *testing.T) {
	samplePages(t, func(t *testing.T, doc *html.Node) {
		controls := 0
		walkNodes(doc, func(n *html.Node) {
			if !isControl(n) {
				return
			}
			controls++
			if accessibleName(n) == "" {
				t.Errorf("a %s of %q has no name", n.Data, attribute(n, "class"))
			}
			large := hasClass(n, "t15", "t20", "t25")
			if attribute(n, "type") == "radio" {
				large = n.NextSibling != nil && hasClass(n.NextSibling, "t20") // its label is what is touched
			}
			if hasClass(n, "spot") {
				large = above(n, "foreignobject") != nil || above(n, "foreignObject") != nil // held to its size by the plan's own tests
			}
			if !large {
				t.Errorf("%q has no target size", accessibleName(n))
			}
		})
		if controls == 0 {
			t.Error("nothing can be done here")
		}
	})
}

// turnoutSamples show a turnout already.
func isTurnout(name string) bool { return strings.HasPrefix(name, "turnout") }

func TestTabletPage_TurnoutIsAlwaysThere(t *testing.T) {
	for _, name := range sampleNames(t) {
		found := 0
		walkNodes(parsePage(t, samplePage(t, name, "")), func(n *html.Node) {
			if n.Data == "button" && hasClass(n, "t25") && strings.TrimSpace(wordsOf(n)) == "TURNOUT" {
				found++
			}
		})
		if want := 1; !isTurnout(name) && found != want {
			t.Errorf("%s has %d turnout controls", name, found)
		}
	}
}

// pressed returns the form that a button sends: fields that are not buttons, with
// something typed into those of text, and the button's own.
func sentBy(doc, form, button *html.Node) map[string][]string {
	values := map[string][]string{}
	add := func(n *html.Node, v string) {
		if name := attribute(n, "name"); name != "" {
			values[name] = append(values[name], v)
		}
	}
	walkNodes(doc, func(n *html.Node) {
		if formOf(doc, n) != form {
			return
		}
		switch {
		case n.Data == "input" && attribute(n, "type") == "hidden":
			add(n, attribute(n, "value"))
		case n.Data == "input" && attribute(n, "type") == "radio":
			if name := attribute(n, "name"); values[name] == nil { // one of a group is picked
				add(n, attribute(n, "value"))
			}
		case n.Data == "textarea", n.Data == "input" && attribute(n, "type") != "file":
			add(n, "7")
		}
	})
	add(button, attribute(button, "value"))
	return values
}

func TestTabletPage_EveryButtonSendsAnActTheDeskKnows(t *testing.T) {
	sent := map[string]bool{}
	for _, name := range sampleNames(t) {
		doc := parsePage(t, samplePage(t, name, ""))
		walkNodes(doc, func(n *html.Node) {
			form := formOf(doc, n)
			if n.Data != "button" || attribute(n, "type") == "button" {
				return
			}
			if form == nil {
				t.Errorf("%s: %q is in no form", name, accessibleName(n))
				return
			}
			if attribute(form, "method") != "post" {
				t.Errorf("%s: the form of %q does not post", name, accessibleName(n))
			}
			if _, photo := attr(form, "data-photo"); photo {
				if attribute(form, "action") != "/photo" || attribute(form, "enctype") != "multipart/form-data" {
					t.Errorf("%s: a photo goes to %q as %q", name, attribute(form, "action"), attribute(form, "enctype"))
				}
				return
			}
			if _, ok := attr(form, "data-act"); !ok || attribute(form, "action") != "/act" {
				t.Errorf("%s: %q goes to %q", name, accessibleName(n), attribute(form, "action"))
			}
			_, act, err := decodeForm(sentBy(doc, form, n))
			if err != nil {
				t.Errorf("%s: %q sends what is refused: %v", name, accessibleName(n), err)
				return
			}
			allowed, known := deskActs[act.Name]
			if !known {
				t.Errorf("%s: %q sends the act %q", name, accessibleName(n), act.Name)
			}
			sent[act.Name] = true
			for key := range act.Values {
				if key != "at" && !slices.Contains(allowed, key) { // every act may say at which step it was meant
					t.Errorf("%s: %q sends %q with the act %q", name, accessibleName(n), key, act.Name)
				}
			}
		})
	}
	for act := range deskActs {
		if !sent[act] {
			t.Errorf("no sample offers the act %q", act)
		}
	}
}

func TestTabletPage_IsInOrder(t *testing.T) {
	samplePages(t, func(t *testing.T, doc *html.Node) {
		level, mains, banners, ids := 0, 0, 0, map[string]bool{}
		walkNodes(doc, func(n *html.Node) {
			if id := attribute(n, "id"); id != "" {
				if ids[id] {
					t.Errorf("two elements have the id %q", id)
				}
				ids[id] = true
			}
			switch n.Data {
			case "html":
				if attribute(n, "lang") != "en-GB" {
					t.Errorf("the page's language is %q", attribute(n, "lang"))
				}
			case "main":
				mains++
			case "header":
				banners++
			case "section", "nav":
				if labelled := attribute(n, "aria-label") != ""; !labelled && above(n, "main") == nil {
					t.Errorf("a %s has no label", n.Data)
				}
			case "h1", "h2", "h3":
				now := int(n.Data[1] - '0')
				if level == 0 && now != 1 || now > level+1 || now == 1 && level > 0 {
					t.Errorf("%s %q comes after h%d", n.Data, wordsOf(n), level)
				}
				level = now
				if strings.TrimSpace(wordsOf(n)) == "" {
					t.Errorf("an empty %s", n.Data)
				}
			}
			checkPolicy(t, n)
		})
		if mains != 1 || banners != 1 || level == 0 {
			t.Errorf("%d mains, %d banners, last heading of level %d", mains, banners, level)
		}
	})
}

// checkPolicy finds what the page's policy would refuse, and what points at nothing.
func checkPolicy(t *testing.T, n *html.Node) {
	t.Helper()
	for _, a := range n.Attr {
		if a.Key == "style" || strings.HasPrefix(a.Key, "on") {
			t.Errorf("<%s> has %s=%q", n.Data, a.Key, a.Val)
		}
		if strings.Contains(a.Val, "ZgotmplZ") {
			t.Errorf("<%s %s> was refused by the template engine", n.Data, a.Key)
		}
	}
	if n.Data == "script" && attribute(n, "src") == "" {
		t.Error("a script stands in the page")
	}
}
