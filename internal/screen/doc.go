// Package screen serves the two pages of the kiosk: the tablet in the driver's
// hand and the bay display. All state lives in Go; a page shows regions, pieces of
// HTML with an id, and sockets push those that changed.
//
// Every act of the tablet is an ordinary form that works by POST. With the socket
// up, the page's script sends the same values as a text frame instead:
//
//	{"id":"k3x-17","act":"go","values":{"step":"TYR-010/axle-1-left"}}
//
// Frames to a page are JSON too, one whole state or what changed since the last:
//
//	{"v":12,"build":"5be1…","regions":[{"id":"step","html":"…"}],"beat":{…},"ack":"k3x-17"}
//
// Frames need not be kept: whoever connects anew is sent the whole state. A socket
// that is slow skips states, never the newest, and holds nobody up.
//
// The id of an act is the start of the program it is meant for, the page and a number,
// with dots between. An act is carried out once however often it is sent; one meant
// for an earlier start is not carried out.
//
// The bay display fails safe. A page counts as not live from the moment it is
// delivered until its socket has spoken, again after five seconds without a frame,
// while the kiosk's time runs backwards, and whenever the station is not heard;
// then no verdict is shown. If its script stops for any reason, it covers itself.
//
// There are two listeners. The tablet's own takes acts and shows names; the display's
// has no act, no name and nothing that a person typed. Both answer only to the Host
// values they are given, and open sockets only for pages of their own.
package screen
