// Package control is the daemon's local socket: HTTP over a Unix socket, by
// which a person in the right group asks for a run at once, watches it, and
// reads the daemon's status. The daemon calls [Listen] and [Serve]; commands
// use [Client].
//
//	GET /status  a JSON value
//	POST /run    with ?logins=true also the checks of factory accounts; a stream of JSON values, one to a line:
//	             {"event":"progress","text":"…","done":3,"total":12}
//	             {"event":"done","exit":0,"report":{…}} or
//	             {"event":"failed","error":"…"} as the last one
//
// A client that goes away does not end the run it asked for.
package control

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
)

// ErrNoDaemon reports that nothing answers at the socket.
var ErrNoDaemon = errors.New("no daemon answers")

// ErrInUse is returned by [Listen] when another daemon answers at the socket.
var ErrInUse = errors.New("another daemon answers here")

// ErrBusy reports that more runs are asked for than the daemon lets wait.
var ErrBusy = errors.New("too many runs are waiting")

// PermissionError reports that the socket is there, but not for this user. It
// unwraps to [fs.ErrPermission].
type PermissionError struct {
	Path  string // of the socket
	Group string // whose members may use it; "" if that is not known
}

// Error says which group to join.
func (e *PermissionError) Error() string {
	if e.Group == "" {
		return fmt.Sprintf("control: %s: permission denied", e.Path)
	}
	return fmt.Sprintf("control: %s: permission denied; it is open to the group %q (join it, then log in again)", e.Path, e.Group)
}

// Unwrap makes it a permission error of the file system.
func (e *PermissionError) Unwrap() error { return fs.ErrPermission }

// Wishes are what a person wants of a run beside that it looks.
type Wishes struct {
	Logins bool // also the checks of factory accounts that the plan allows on request
}

const wishLogins = "logins"

// Progress is how far a run is, for people.
type Progress struct {
	Text  string `json:"text"`  // what is being done
	Done  int    `json:"done"`  // of Total
	Total int    `json:"total"` // 0 if not known
}

// Result is the end of a run that was asked for.
type Result struct {
	Exit   int             `json:"exit"`   // the exit code that "boundwalk run" is to end with
	Report json.RawMessage `json:"report"` // what "run --json" prints
}

// The events of a run, by their JSON.
const (
	progressed = "progress"
	done       = "done"
	failed     = "failed"
)

// event is one line of the stream, in the reading direction.
type event struct {
	Event string `json:"event"`
	Progress
	Result
	Error string `json:"error"`
}
