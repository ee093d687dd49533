package screen

import "html/template"

// region is a piece of a page that is replaced as a whole: the element with this
// id, and the HTML inside it. A region's id never changes, and a page has the same
// regions in the same order in all its states; one with nothing to show is empty.
//
// What the script of the tablet knows in a region's HTML:
//
//	<form method=post action=/act data-act>   sent as a frame; POST when the socket is down.
//	                                          The pressed button's name and value go with it
//	data-auto          on an input: a change submits its form
//	data-photo         on a form to /photo: choosing a file sends it
//	data-key="7"       on a button: the key of that name presses it; digits, "." "-"
//	                   "Backspace" and "Enter", when no field has the focus
//	data-put="7"       on a button: types into the field with the id pin; "" takes back
//	id="badge"         on an input: what a badge reader types goes there, wherever the focus is,
//	                   and its Enter submits the form; what could be a PIN does not
//	data-hold="<unix ms>"  inside a button: shows the seconds left to that instant
//	                       and is emptied then; the desk alone decides what is taken
//	id or name         on what may have the focus: it keeps the focus
//	data-at="step id"  anywhere in a region: what it is about; while that stays the same,
//	                   what is typed and which details are open stays too
//	data-scroll id="…" on what scrolls by itself: it keeps its place
//
// No style attribute and no script inside: the policy of the page refuses both.
// Lengths that depend on data are SVG attributes. Sizes on the glass are written
// calc(var(--mm) * 20); --mm comes with /display.css.
type region struct {
	ID   string
	HTML string
}

// Safe is the HTML as it is: a template of ours made it.
func (r region) Safe() template.HTML { return template.HTML(r.HTML) }

// shell is what a page is built from when it is asked for by GET.
type shell struct {
	Title   string
	Build   string // which program made it: a page of another one loads itself anew
	Boot    string // which start of it: acts of an earlier one are not taken
	Theme   string // "day" or "night"; empty: as the browser prefers
	Sizes   string // query of the style sheet that carries the sizes on the glass
	Regions []region
	Served  string // hh:mm when it was made
	assets  *assets
}

// Asset is the address of a file in static, for instance "tablet.css".
func (s shell) Asset(name string) string { return s.assets.address(name) }
