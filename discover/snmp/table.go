package snmp

// Result says how a walk ended. Empty, refused, silent and not offered are
// different facts; only Complete and NotOffered prove that something is absent.
type Result uint8

// The results. The zero value is a table that was never asked for.
const (
	_          Result = iota
	Complete          // read to its end, at least one row
	Partial           // a limit, a loop or silence in mid-walk; Rows are sound but not all
	Refused           // the agent, or the host's closed port, said no; see Err
	NoAnswer          // nothing came
	NotOffered        // the agent answered and has no such rows
)

// String is one word for logs.
func (r Result) String() string {
	switch r {
	case Complete:
		return "complete"
	case Partial:
		return "partial"
	case Refused:
		return "refused"
	case NoAnswer:
		return "no answer"
	case NotOffered:
		return "not offered"
	}
	return "not asked"
}

// Table is what one walk read.
type Table struct {
	Rows        []Row // sorted by OID, each below one of the columns asked for, none twice
	Result      Result
	Err         error // why it is Partial, Refused or NoAnswer; nil otherwise
	Repetitions int   // rows a column asked for in the last request; 1 by GETNEXT
}
