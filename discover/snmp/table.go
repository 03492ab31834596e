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

var resultNames = [...]string{"not asked", "complete", "partial", "refused", "no answer", "not offered"}

// String is a word or two for logs.
func (r Result) String() string {
	if int(r) < len(resultNames) {
		return resultNames[r]
	}
	return "unknown result"
}

// Table is what one walk read.
type Table struct {
	Rows        []Row // sorted by OID, each below one of the columns asked for, none twice
	Result      Result
	Err         error // why it is Partial, Refused or NoAnswer, a [TargetError]; nil otherwise
	Repetitions int   // rows a column in the last request; 1 by GETNEXT, 0 if none was sent
}
