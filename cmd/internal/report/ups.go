package report

import (
	"fmt"
	"time"

	"boundwalk/inventory"
)

// upsTable lists the UPSes that were asked; what one does not tell, or what
// cannot be, is a dash.
func upsTable(s *inventory.Snapshot) *table {
	t := newTable("ups", "on", "battery", "charge", "runs for", "load", "gives")
	t.right["charge"], t.right["load"], t.right["runs for"] = true, true, true
	for i := range s.UPSes {
		r := &s.UPSes[i].Reading
		t.row(s.UPSes[i].Device, dashed(sourceWords(r)), dashed(r.Battery), share(r.Charge), lasting(r.Runtime), share(r.Load), watts(r.Output))
	}
	return t
}

// sourceWords is what a UPS is fed from: upsOutputSource calls the mains normal (RFC 1628).
func sourceWords(r *inventory.UPSReading) string {
	switch {
	case r.OnBattery != nil && *r.OnBattery > 0:
		return "battery"
	case r.Source == "normal":
		return "mains"
	}
	return r.Source
}

func dashed(s string) string {
	if s == "" {
		return dash
	}
	return s
}

func share(n *int) string {
	if n == nil {
		return dash
	}
	return fmt.Sprintf("%d %%", *n)
}

func lasting(d *time.Duration) string {
	switch {
	case d == nil:
		return dash
	case *d < 2*time.Hour:
		return fmt.Sprintf("%d min", int(d.Minutes()))
	}
	return fmt.Sprintf("%d h", int(d.Hours()))
}
