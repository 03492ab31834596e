package planfile

import (
	"fmt"
	"reflect"
	"slices"
	"strings"

	"boundwalk/inventory"
)

// Remark marks a key of a device, in a draft, as something to check.
type Remark struct {
	Device, Key string
	Text        string // why, in a few words
}

// Defaults is a plan that says nothing: what holds where a file leaves a key
// out. A draft starts from it.
func Defaults() *inventory.Plan {
	p := basePlan
	return &p
}

// Render writes a plan as a person would, for "boundwalk draft": in a fixed
// order, a device on a line where it fits, what a model or the site's cable says
// not repeated, and a comment "# check: …" above a device for each remark. What
// it returns was parsed again and says p, but for the lines; a p that no file
// could say, such as one with a doubled port, is an error.
func Render(p *inventory.Plan, remarks ...Remark) ([]byte, error) {
	p = tidy(p)
	w := writer{plan: p, remarks: remarks}
	w.head()
	w.networks()
	w.devices()
	w.tail()
	text := []byte(w.String())
	f, err := Parse("plan.yaml", text)
	if err != nil {
		return nil, fmt.Errorf("render plan: %w", err)
	}
	if !samePlan(p, f.Plan) {
		return nil, fmt.Errorf("render plan: it holds something that a plan file cannot say: %s", difference(p, f.Plan))
	}
	return text, nil
}

// tidy makes lists without entries into no lists, as Parse does.
func tidy(p *inventory.Plan) *inventory.Plan {
	q := *p
	tidyFields(&q)
	tidyAll(&q.Networks)
	tidyAll(&q.Models)
	tidyAll(&q.Devices)
	tidyAll(&q.Links)
	tidyFields(&q.Sources)
	return &q
}

func tidyAll[T any](list *[]T) {
	*list = slices.Clone(*list)
	for i := range *list {
		tidyFields(&(*list)[i])
	}
}

// tidyFields clears the slices and maps of a struct that hold nothing.
func tidyFields(v any) {
	s := reflect.ValueOf(v).Elem()
	for _, f := range s.Fields() {
		if (f.Kind() == reflect.Slice || f.Kind() == reflect.Map) && f.CanSet() && f.Len() == 0 {
			f.SetZero()
		}
	}
}

// difference names the first thing that differs between two plans.
func difference(a, b *inventory.Plan) string {
	for i := range a.Devices {
		if i >= len(b.Devices) || a.Devices[i].Name != b.Devices[i].Name {
			return fmt.Sprintf("the device %s", quoted(a.Devices[i].Name))
		}
		for _, k := range deviceKeys.keys {
			if !k.same(&a.Devices[i], &b.Devices[i]) {
				return fmt.Sprintf("%s of the device %s", k.name, quoted(a.Devices[i].Name))
			}
		}
	}
	return "something beside its devices"
}

// draftWidth is how wide a drafted line gets before it is broken.
const draftWidth = 130

// writer writes the parts of a plan one after another.
type writer struct {
	strings.Builder
	plan    *inventory.Plan
	remarks []Remark
}

func (w *writer) line(format string, args ...any) { fmt.Fprintf(w, format+"\n", args...) }

func (w *writer) head() {
	w.line("# The plan of %s: what is meant to be there. boundwalk compares the network with it.", inventory.Clean(w.plan.Site.Name))
	w.line("# Quantities carry their unit. Leave a key out where you do not know.")
	w.block("site", siteKeys.fields(&w.plan.Site, &baseSite))
}

// block is a key whose mapping stands below it, a key on each line.
func (w *writer) block(name string, fields []string) {
	if len(fields) == 0 {
		return
	}
	w.line("\n%s:", name)
	for _, f := range fields {
		w.line("  %s", f)
	}
}

// named is one entry of a section.
type namedEntry struct {
	name   string
	fields []string
	above  []string // comments
}

// section is a key with entries by name, their mappings in one column.
func (w *writer) section(key, comment string, list []namedEntry) {
	if comment != "" {
		w.line("\n# %s", comment)
	} else {
		w.line("")
	}
	if len(list) == 0 {
		w.line("%s: {}", key)
		return
	}
	w.line("%s:", key)
	width := 0
	for _, e := range list {
		if n := len(plain(e.name)); n <= 16 {
			width = max(width, n)
		}
	}
	for _, e := range list {
		for _, c := range e.above {
			w.line("  # %s", c)
		}
		w.line("  %s", entry(2, plain(e.name), width, e.fields, draftWidth))
	}
}

func (w *writer) networks() {
	var list []namedEntry
	for i := range w.plan.Networks {
		n := &w.plan.Networks[i]
		list = append(list, namedEntry{name: n.Name, fields: networkKeys.fields(n, &baseNetwork)})
	}
	w.section("networks", "An unknown device is a warning, unless a network says otherwise.", list)

	list = nil
	for i := range w.plan.Access {
		a := &w.plan.Access[i]
		base := baseAccess
		if a.Version == "v3" {
			base.Auth, base.Privacy = "none", "none"
		}
		list = append(list, namedEntry{name: a.Name, fields: accessKeys.fields(a, &base)})
	}
	if len(list) > 0 {
		w.section("access", "How to ask the SNMP agents. Secrets stand in files of their own.", list)
	}
	if fields := cableKeys.fields(&w.plan.Cable, &inventory.CableSpec{}); len(fields) > 0 {
		w.line("\ncable: %s", flow(fields))
	}
}

func (w *writer) devices() {
	var list []namedEntry
	for i := range w.plan.Models {
		m := &w.plan.Models[i]
		list = append(list, namedEntry{name: m.Name, fields: modelKeys.fields(m, &device{})})
	}
	if len(list) > 0 {
		w.section("models", "What several devices have in common.", list)
	}
	list = nil
	for i := range w.plan.Devices {
		d := &w.plan.Devices[i]
		e := namedEntry{name: d.Name, fields: deviceKeys.fields(d, w.under(d))}
		for _, r := range w.remarks {
			if r.Device == d.Name {
				e.above = append(e.above, inventory.CleanTo("check: "+r.Key+": "+r.Text, 110))
			}
		}
		list = append(list, e)
	}
	w.section("devices", "What is meant to be there, and where it hangs (at).", list)
	if len(w.plan.Links) == 0 {
		return
	}
	list = nil
	for i := range w.plan.Links {
		l := &w.plan.Links[i]
		list = append(list, namedEntry{name: l.Name, fields: linkKeys.fields(l, &inventory.RadioLink{})})
	}
	w.section("radio_links", "", list)
}

// under is what shows through where a device says nothing: its model, and the
// site's cable.
func (w *writer) under(d *device) *device {
	var base device
	for i := range w.plan.Models {
		if w.plan.Models[i].Name == d.Model {
			base = w.plan.Models[i]
		}
	}
	base.Model = ""
	spec, site := &base.Cable.CableSpec, w.plan.Cable
	if spec.Gauge == 0 {
		spec.Gauge = site.Gauge
	}
	if spec.Conductor == "" {
		spec.Conductor = site.Conductor
	}
	spec.Stranded = spec.Stranded || site.Stranded
	return &base
}

func (w *writer) tail() {
	p := w.plan
	if len(p.LeaveAlone) > 0 {
		w.line("\nleave_alone: %s", writeList(address, p.LeaveAlone))
	}
	if p.FactoryLogins != basePlan.FactoryLogins {
		w.line("\nfactory_logins: %s", p.FactoryLogins)
	}
	if len(p.Severity) > 0 {
		w.line("\nseverity: %s", severityKey.write(p, p))
	}
	for _, part := range []struct {
		name   string
		fields []string
	}{{"near", nearKeys.fields(&p.Near, &basePlan.Near)}, {"sources", sourcesKeys.fields(&p.Sources, &basePlan.Sources)}} {
		if len(part.fields) > 0 {
			w.line("\n%s: %s", part.name, flow(part.fields))
		}
	}
	w.block("service", serviceKeys.fields(&p.Service, &basePlan.Service))
}
