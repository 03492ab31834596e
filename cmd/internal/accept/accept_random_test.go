package accept_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"net/netip"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"boundwalk/cmd/internal/accept"
	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/inventory/planfile"
	"boundwalk/inventory/poe"
)

// For random plans and random accepts, parse(edit(file)) is the plan that was
// meant, and every line of a device that no accept is about is unchanged.
func TestRandomAccepts(t *testing.T) {
	rounds := 400
	if testing.Short() {
		rounds = 60
	}
	kinds := map[diff.Kind]int{}
	refused := 0
	for seed := range rounds {
		w := newWorld(rand.New(rand.NewPCG(uint64(seed), 11)))
		for _, f := range w.findings {
			kinds[f.Kind]++
		}
		if !w.accept(t) {
			refused++
		}
		if t.Failed() {
			t.Fatalf("seed %d, %d findings\n%s", seed, len(w.findings), w.text)
		}
	}
	for _, k := range takeable {
		if kinds[k] < rounds/10 {
			t.Errorf("%s was accepted only %d times", k, kinds[k])
		}
	}
	if refused > rounds/10 {
		t.Errorf("%d of %d edits were refused", refused, rounds)
	}
}

// takeable are the kinds of which a plan can take the fact.
var takeable = []diff.Kind{diff.MovedDevice, diff.ReplacedDevice, diff.AddressDiffers, diff.WrongVLAN, diff.ClassDiffers, diff.UnknownDevice}

// world is a plan with the last run of its site, and what that run found.
type world struct {
	rng      *rand.Rand
	parts    []part // of the text
	text     string
	plan     *planfile.File
	want     *inventory.Plan // what the plan should be in the end
	snap     *inventory.Snapshot
	findings []diff.Finding
	touched  map[string]bool
	free     []int // ports that no device has
	marks    int
}

// part is a stretch of the text that belongs to a device, or to none.
type part struct{ owner, text string }

func newWorld(rng *rand.Rand) *world {
	w := &world{rng: rng, touched: map[string]bool{}, snap: &inventory.Snapshot{}}
	w.write()
	for _, p := range w.parts {
		w.text += p.text
	}
	f, err := planfile.Parse("plan.yaml", []byte(w.text))
	if err != nil {
		panic(fmt.Sprintf("%v\n%s", err, w.text)) // the generator is wrong
	}
	w.plan = f
	want := *f.Plan
	want.Devices = slices.Clone(want.Devices)
	w.want = &want
	for i := 1; i < len(f.Plan.Devices); i++ { // the first is the switch
		if rng.IntN(2) == 0 {
			w.drift(i)
		}
	}
	for n := range rng.IntN(3) {
		w.newcomer(n)
	}
	return w
}

// mark is a comment that stands nowhere else.
func (w *world) mark() string {
	w.marks++
	return fmt.Sprintf("# mark %d ü", w.marks)
}

func (w *world) pick(s ...string) string { return s[w.rng.IntN(len(s))] }

func (w *world) write() {
	n := 2 + w.rng.IntN(6)
	ports := w.rng.Perm(20)
	for i := range ports {
		ports[i]++
	}
	w.free = ports[n:]
	eol := w.pick("\n", "\r\n")
	add := func(owner, text string) {
		w.parts = append(w.parts, part{owner, strings.ReplaceAll(text, "\n", eol)})
	}
	head := w.pick("", "\ufeff") + w.mark() + "\nsite: {name: Tern Quay}\nnetworks:\n  all: {subnet: 10.0.0.0/8}   " + w.mark() + "\n"
	add("", head+"access: {yard: {snmp: v2c, community: file:yard.community}}\nmodels: {dome: {role: camera, class: 3}}\ndevices:\n")
	spare := fmt.Sprintf("spare: [%d, %d,  %d]", w.free[0], w.free[1], w.free[2])
	if w.rng.IntN(3) == 0 {
		spare = fmt.Sprintf("spare:\n      - %d\n      - '%d'\n      - \"%d\"", w.free[0], w.free[1], w.free[2])
		add("hub", "  hub:\n    role: switch\n    address: 10.0.0.2\n    access: yard\n    "+spare+"\n    ports: 20\n    feeds: 802.3at "+w.mark()+"\n")
	} else {
		add("hub", "  hub: {role: switch, address: 10.0.0.2, access: yard, feeds: 802.3at,"+w.pick(" ", "\n    ")+spare+", ports: 20}  "+w.mark()+"\n")
	}
	anchored := w.rng.IntN(4) == 0
	for i := range n {
		if w.rng.IntN(3) == 0 {
			add("", w.pick("\n", "  "+w.mark()+"\n", w.mark()+"\n", "\n  "+w.mark()+"\n\n"))
		}
		add(fmt.Sprintf("d%d", i), "  "+w.device(i, ports[i], anchored))
	}
	add("", w.pick("", w.mark()+"\n", "leave_alone: [10.0.0.1]\n", "\n\n"))
}

// device writes one in one of the ways in which people do.
func (w *world) device(i, port int, anchored bool) string {
	name := fmt.Sprintf("d%d", i)
	at, mac, address := fmt.Sprintf("hub/%d", port), w.mac(), fmt.Sprintf("10.1.0.%d", 1+i)
	keys := []string{
		"at: " + w.pick(at, `"`+at+`"`, "'"+at+"'"),
		"mac: " + w.pick(`"`+mac+`"`, "'"+mac+"'", strings.ReplaceAll(mac, ":", "-"), `[ "`+mac+`" ]`),
		w.pick("address: ", "'address': ") + w.pick(address, `"`+address+`"`),
	}
	switch {
	case anchored && i == 0:
		return fmt.Sprintf("%s: &first {model: dome, room: shed, %s}\n", name, strings.Join(keys, ", "))
	case anchored && w.rng.IntN(2) == 0:
		return fmt.Sprintf("%s: {<<: *first, %s} %s\n", name, strings.Join(keys, ", "), w.mark())
	}
	keys = append(keys, w.pick("model: dome", "role: sensor", `role: "camera"`))
	if w.rng.IntN(3) == 0 {
		keys = append(keys, "room: "+w.pick("shed", `"a \"b\" # no comment"`, "'it''s'", "under the stairs"))
	}
	if w.rng.IntN(4) == 0 {
		keys = append(keys, w.pick("vlan: 7", "class: 1", "draws: {usual: 5 W,   most: 11 W}"))
	}
	w.rng.Shuffle(len(keys), func(a, b int) { keys[a], keys[b] = keys[b], keys[a] })
	if w.rng.IntN(2) == 0 {
		glue := w.pick(", ", ",", ",\n      ", ", "+w.mark()+"\n      ")
		return name + w.pick(": {", ":\n    {", ":   { ") + strings.Join(keys, glue) + w.pick("}", " }", ",}", "\n    }") + w.pick("\n", "  "+w.mark()+"\n")
	}
	for k := range keys {
		if w.rng.IntN(3) == 0 {
			keys[k] += "   " + w.mark()
		}
	}
	return name + ":\n    " + strings.Join(keys, w.pick("\n    ", "\n\n    ", "\n    "+w.mark()+"\n    ")) + "\n"
}

func (w *world) mac() string { return w.newMAC().String() }

func (w *world) newMAC() inventory.MAC {
	return inventory.MAC{2, 0, 0x5e, byte(w.rng.IntN(256)), byte(w.rng.IntN(256)), byte(w.rng.IntN(256))}
}

// takePort is a port that is free, perhaps one of the spare ones, which it then is no more.
func (w *world) takePort() inventory.PortRef {
	i := w.rng.IntN(len(w.free))
	p := inventory.PortRef{Device: "hub", Port: fmt.Sprint(w.free[i])}
	w.free = slices.Delete(w.free, i, i+1)
	hub := &w.want.Devices[0]
	if k := slices.Index(hub.Spare, p.Port); k >= 0 {
		w.touched["hub"] = true
		if hub.Spare = slices.Delete(slices.Clone(hub.Spare), k, k+1); len(hub.Spare) == 0 {
			hub.Spare = nil
		}
	}
	return p
}

// drift lets a device differ from its plan; what the plan should become is worked
// out here, apart from the package.
func (w *world) drift(i int) {
	d := &w.want.Devices[i]
	w.touched[d.Name] = true
	kind := takeable[w.rng.IntN(5)]
	f := diff.New(kind, d.Name)
	switch kind {
	case diff.MovedDevice:
		d.At = w.takePort()
		f.Where = d.At.String()
	case diff.ReplacedDevice:
		d.MACs = nil
		for range 1 + w.rng.IntN(2) {
			d.MACs = append(d.MACs, w.newMAC())
		}
		f.MACs = d.MACs
	case diff.AddressDiffers:
		d.Addresses = []netip.Addr{netip.AddrFrom4([4]byte{10, 2, byte(i), byte(1 + w.rng.IntN(250))})}
		w.snap.Devices = append(w.snap.Devices, inventory.SeenDevice{Name: d.Name, Planned: true, Addrs: d.Addresses})
	case diff.WrongVLAN:
		f = diff.New(kind, d.At.String())
		d.VLAN = 100 + w.rng.IntN(900)
		w.snap.Ports = append(w.snap.Ports, inventory.PortState{Switch: d.At.Device, Port: d.At.Port, VLAN: d.VLAN, VLANKnown: true})
	case diff.ClassDiffers:
		f = diff.New(kind, d.At.String())
		d.Class = []poe.Class{poe.Class0, poe.Class2, poe.Class4}[w.rng.IntN(3)]
		w.snap.Ports = append(w.snap.Ports, inventory.PortState{Switch: d.At.Device, Port: d.At.Port,
			Power: &inventory.PortPower{State: inventory.PSEDelivering, Class: d.Class}})
	}
	w.findings = append(w.findings, f)
}

// newcomer is a device that no plan has. All of them call themselves alike.
func (w *world) newcomer(n int) {
	m, at := w.newMAC(), w.takePort()
	s := inventory.SeenDevice{Name: m.String(), MACs: []inventory.MAC{m}, Hostname: "Bow Cam", Role: inventory.Camera,
		Place: inventory.Place{Switch: at.Device, Port: at.Port, Basis: inventory.ByFDB}}
	w.snap.Devices = append(w.snap.Devices, s)
	f := diff.New(diff.UnknownDevice, m.String())
	f.MACs = s.MACs
	w.findings = append(w.findings, f)
	name := "bow-cam"
	if n > 0 {
		name = fmt.Sprintf("bow-cam-%d", n+1)
	}
	w.want.Devices = append(w.want.Devices, inventory.Device{Name: name, Role: inventory.Camera, MACs: s.MACs, At: at})
}

// accept takes all findings; false where the text was written so that the edit
// refuses it.
func (w *world) accept(t *testing.T) bool {
	taken, err := accept.All(w.plan.Plan, w.snap, w.findings, "")
	if err != nil {
		t.Error(err)
		return true
	}
	var changes []planfile.Change
	for _, x := range taken {
		changes = append(changes, x.Changes...)
	}
	text, err := w.plan.Edit(append(changes, accept.Unspare(taken)...)...)
	if errors.Is(err, planfile.ErrByHand) && strings.Contains(w.text, "&first") {
		return false // others would inherit it by their merge
	}
	if err != nil {
		t.Error(err)
		return true
	}
	after, err := planfile.Parse("plan.yaml", text)
	if err != nil {
		t.Errorf("%v\n%s", err, text)
		return true
	}
	if got, want := unlined(after.Plan), unlined(w.want); !reflect.DeepEqual(got, want) {
		t.Errorf("the plan is not what was meant\n%s\ngot  %+v\nwant %+v", text, got.Devices, want.Devices)
	}
	w.checkText(t, string(text))
	return true
}

// unlined is a plan without the lines that its devices stand in.
func unlined(p *inventory.Plan) *inventory.Plan {
	q := *p
	q.Devices, q.Models = slices.Clone(p.Devices), slices.Clone(p.Models)
	for i := range q.Devices {
		q.Devices[i].Line = 0
	}
	for i := range q.Models {
		q.Models[i].Line = 0
	}
	q.Index()
	return &q
}

var marks = regexp.MustCompile(`# mark \d+ ü`)

// checkText finds each part of the old text that no finding is about in the new
// one, byte for byte and in order, and every comment.
func (w *world) checkText(t *testing.T, text string) {
	at := 0
	for _, p := range w.parts {
		if w.touched[p.owner] {
			continue
		}
		i := strings.Index(text[at:], p.text)
		if i < 0 {
			t.Errorf("the part of %q was touched: %q\n%s", p.owner, p.text, text)
			return
		}
		at += i + len(p.text)
	}
	if got, want := marks.FindAllString(text, -1), marks.FindAllString(w.text, -1); !slices.Equal(got, want) {
		t.Errorf("comments are lost or moved: %q, want %q\n%s", got, want, text)
	}
	if n := strings.Count(text, "\r\n"); n > 0 && n != strings.Count(text, "\n") {
		t.Errorf("line ends are mixed\n%q", text)
	}
}
