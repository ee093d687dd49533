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
package screen
