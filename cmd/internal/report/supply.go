package report

import (
	"fmt"
	"io"
	"math"

	"boundwalk/inventory"
)

// Supplies writes each supply with what it gives, promises and has, and each
// UPS with what it tells.
func Supplies(w io.Writer, s *inventory.Snapshot, h *inventory.History, style Style) error {
	p := newPage(w, style)
	if len(s.Supplies) > 0 {
		suppliesTable(s, h).write(p, "")
		p.line("")
		p.wrap("", suppliesNote)
	}
	if len(s.UPSes) > 0 {
		if len(s.Supplies) > 0 {
			p.line("")
		}
		upsTable(s).write(p, "")
	}
	if len(s.Supplies)+len(s.UPSes) == 0 {
		p.wrap("", "No agent that was asked tells of a power supply, and the plan has no budget.")
	}
	return p.w.Flush()
}

const suppliesNote = "Reserved is what the switch has promised to its ports, by its own rule; free watts of one kind are no proof of the other. Planned figures come from paper."

func suppliesTable(s *inventory.Snapshot, h *inventory.History) *table {
	t := newTable("supply", "gives", "known by", "reserved", "budget", "share", "peak")
	for i := range s.Supplies {
		x := &s.Supplies[i]
		peak := dash
		if k, _, ok := weekPeak(h.Supplies[inventory.SupplyRef{Switch: x.Switch, Supply: x.Supply}], h.Previous); ok {
			peak = fmt.Sprintf("%s %s", k.Draw, k.At.In(k.Day.Location()).Format("Mon 15:04"))
		}
		t.row(append(supplyCells(x, s.SeveralSupplies(x.Switch)), peak)...)
	}
	return t
}

type supplyJSON struct {
	Switch     string   `json:"switch"`
	Supply     string   `json:"supply"`
	BudgetW    *float64 `json:"budget_w"`
	ReportedW  *float64 `json:"reported_w"`
	ReservedW  *float64 `json:"reserved_w"`
	Share      *float64 `json:"share"`
	DrawnW     *float64 `json:"drawn_w"`
	DrawnBasis *string  `json:"drawn_basis"`
	Unknown    int      `json:"unknown_ports"`
	Method     *string  `json:"reserved_by"`
}

// SuppliesJSON writes the same by the contract.
func SuppliesJSON(w io.Writer, s *inventory.Snapshot) error {
	out := []supplyJSON{}
	for i := range s.Supplies {
		x := &s.Supplies[i]
		j := supplyJSON{Switch: x.Switch, Supply: x.Supply, BudgetW: wattsJSON(x.Budget), ReportedW: wattsJSON(x.Used), ReservedW: wattsJSON(x.Reserved),
			DrawnW: wattsJSON(x.Drawn), DrawnBasis: text(x.DrawnBasis), Unknown: x.Unknown, Method: text(x.Method)}
		if share, ok := x.Share(); ok {
			share = math.Round(share*1000) / 1000
			j.Share = &share
		}
		out = append(out, j)
	}
	return write(w, out)
}
