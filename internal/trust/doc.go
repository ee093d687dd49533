// Package trust says who is at the other end of a connection: it is the station's
// own certificate authority, lets tablets and other programs in, and keeps them out
// again; on a tablet's side it keeps the certificate and knows the station by it.
//
// # What it promises
//
//   - A certificate that the station gave counts as long as the station's register
//     lists it, and no longer: one that was revoked, one whose name was given anew,
//     and one that the register does not know are refused at once, on every call and
//     on streams under way (Gate.Judge, Gate.Bind). Expiry is judged on every call too.
//   - Who somebody is stands in the certificate's one URI, never in its common name:
//     bayround://{role}/{name}/{enrolment}. A station's own is bayround://station.
//   - A client's certificate is good for being a client only, so that nobody who was
//     let in can pass for the station.
//   - A tablet makes its key itself; it never leaves it. It knows the station by the
//     SHA-256 of its authority's public key at enrolment, and by that authority afterwards.
//   - A code has 80 random bits, lasts 15 minutes, works once and bears five tries. They
//     are counted, on disk, before an answer is given.
//   - Certificates are replaced while the station serves; connections notice nothing.
//   - So is the authority itself. For an overlap both count: the station shows a certificate
//     of the former one, and beside it that of the next, by which tablets see that it is time
//     to be renewed; what is given to them is signed by the next, with both to know the
//     station by. Then the former one counts no more, and its key is removed. The overlap is
//     time in which the station serves; no clock ends it.
//
// A tablet does not ask whether the station's certificate is out of date: clocks of
// tablets are often wrong, and they are put right over this very connection. Whoever
// has the key of an old certificate of the station had the key of its authority, too.
//
// # The folder of a station, version 2
//
//	authority.key.pem   key of the authority, PKCS #8, P-256
//	authority.pem       its certificate
//	next.key.pem        while another authority takes its place: the key of that
//	next.pem            and its certificate
//	register.json       who was let in, and the codes that are open
//	administrator/      the identity of whoever runs the station on this machine
//
// register.json is {"version":2, "clients":[…], "codes":[…], "authority":"…", "rotation":{…}}; type
// register says what stands in it. It is of version 1, without the last two, until the
// station has its second authority. Where a kill has left files that do not fit it, it
// says which authority counts, and the next start puts the files right. Of a code there is the key of its MAC, a hash: while the code is open
// it is as good as the code, for whoever can read this folder, and so has the key of the
// authority. The file is replaced whole. One of a later version, one that cannot be
// read, and one that is missing beside an authority's key are refused: somebody may
// have spoilt it in order to be let in again.
//
// # The folder of an identity
//
//	ca.pem    certificate of the station's authority; two while one takes the other's place
//	cert.pem  the certificate; replaced when it is renewed
//	key.pem   its key, PKCS #8, P-256
//
// Any TLS program can use these files.
package trust
