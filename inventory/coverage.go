package inventory

import "strings"

// Result is how a look at something ended. Only Complete allows the
// conclusion that what was not seen is not there.
type Result string

// The results, as the contract spells them.
const (
	Complete   Result = "complete"
	Partial    Result = "partial"     // some of it: a limit, a loop, silence half way
	Refused    Result = "refused"     // it answered and would not tell: credentials, rights, a gate of ours
	NoAnswer   Result = "no-answer"   // silence before the deadline
	NotOffered Result = "not-offered" // it answered, and has no such thing
	Skipped    Result = "skipped"     // not asked, by the plan or for lack of a cause to ask
)

// Coverage is one look: at what, through which source, and how it ended.
type Coverage struct {
	Subject string `json:"subject"`        // a network's or device's name in the plan, else an address
	Table   string `json:"table,omitzero"` // the MIB module or table within a device; empty for the whole
	Source  string `json:"source"`         // arp, snmp, ndp, mdns, …
	Result  Result `json:"result"`
	Why     string `json:"why,omitzero"`
}

// What names the thing looked at in one phrase, such as "quay-switch LLDP-MIB".
func (c Coverage) What() string {
	return strings.TrimSpace(c.Subject + " " + c.Table)
}

// CoverageList is all looks of one run, in no order that matters.
type CoverageList []Coverage

// Result is how the look at the subject's table through the source ended, and
// whether there was one.
func (l CoverageList) Result(subject, table, source string) (Result, bool) {
	for _, c := range l {
		if c.Subject == subject && c.Table == table && c.Source == source {
			return c.Result, true
		}
	}
	return "", false
}
