package mib

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

// entLogicalTable of ENTITY-MIB (RFC 6933), the standard way to learn an agent's
// contexts. Its column entLogicalCommunity is a secret and never asked for.
var (
	entLogicalEntry       = snmp.MustOID("1.3.6.1.2.1.47.1.2.1.1")
	entLogicalDescr       = entLogicalEntry.Append(2)
	entLogicalType        = entLogicalEntry.Append(3)
	entLogicalContextName = entLogicalEntry.Append(8)
	dot1dBridge           = snmp.MustOID("1.3.6.1.2.1.17")
	ifName                = ifXEntry.Append(1)
)

// Bounds on what is asked of one agent beyond its default context.
const (
	maxContexts    = 32
	maxContextTime = time.Minute
	maxMute        = 2 // contexts in a row that gave nothing, as long as none gave anything
	maxContextFDB  = 1 << 16
	maxNames       = 512 // of interfaces, in one context
)

// errOneTable is why a context is of no use: its table is the default one again.
var errOneTable = errors.New("the same table in every context")

// vlanContext is the bridge of one VLAN, in a context of its own.
type vlanContext struct {
	vlan   int
	name   string // the context name of version 3
	listed bool   // by the agent
}

// contextRead is what one context told.
type contextRead struct {
	vlanContext
	ports map[inventory.BridgePort]inventory.IfIndex // in the default context's interface numbers; 0: not known
	fdb   []inventory.FDBEntry
	err   error
}

// TableOfVLAN names the forwarding table of one VLAN in [Reading], where an agent has one
// for each.
func TableOfVLAN(vlan int) string { return inventory.TableFDB + " of VLAN " + strconv.Itoa(vlan) }

// perVLAN reads the forwarding table of each VLAN where the agent keeps them apart: an
// agent with Q-BRIDGE-MIB tells them all in its default context.
func (got *Reading) perVLAN(ctx context.Context, c *snmp.Client, req Request, r rows) {
	bridge := len(got.Agent.Bridge)+len(got.Agent.FDB) > 0
	switch {
	case req.Contexts == inventory.ContextsOne, got.Err != nil, len(r.below(dot1qTpFdbPort)) > 0,
		!bridge && req.Contexts != inventory.ContextsPerVLAN:
		return
	}
	list, err := listContexts(ctx, c, req)
	if errors.Is(err, snmp.ErrNoResponse) {
		got.Err = err
	}
	if len(list) == 0 || got.Err != nil {
		return
	}
	more := max(0, len(list)-maxContexts)
	list = list[:len(list)-more]
	reads := got.readContexts(ctx, c, list)
	if ctx.Err() != nil {
		got.Err = ctx.Err()
	}
	got.coverContexts(reads, len(list), more)
	for _, x := range reads {
		if x.err == nil {
			got.contexts = append(got.contexts, x.vlanContext)
		}
	}
	got.merge(reads)
}

// listContexts are those that the agent lists and, where the plan says so, those of the
// plan's VLANs. The plan's come first, since only so many are read.
func listContexts(ctx context.Context, c *snmp.Client, req Request) ([]vlanContext, error) {
	t := c.Walk(ctx, entLogicalDescr, entLogicalType, entLogicalContextName)
	r := sorted(t.Rows)
	by := map[int]vlanContext{}
	for index, v := range r.column(entLogicalType) {
		if o, ok := v.OID(); !ok || o.Compare(dot1dBridge) != 0 || len(index) != 1 {
			continue
		}
		at := func(column snmp.OID) string {
			if found := r.below(column.Append(index[0])); len(found) > 0 {
				return text(found[0].Value)
			}
			return ""
		}
		name := at(entLogicalContextName)
		vlan := vlanOf(cmp.Or(name, at(entLogicalDescr)))
		if _, twice := by[vlan]; vlan == 0 || twice {
			continue
		}
		by[vlan] = vlanContext{vlan, cmp.Or(name, contextName(vlan)), true}
	}
	if req.Contexts == inventory.ContextsPerVLAN {
		for _, vlan := range req.VLANs {
			if _, listed := by[vlan]; !listed && vlan >= 1 && vlan <= maxVLAN {
				by[vlan] = vlanContext{vlan: vlan, name: contextName(vlan)}
			}
		}
	}
	planned := func(x vlanContext) int {
		if slices.Contains(req.VLANs, x.vlan) {
			return 0
		}
		return 1
	}
	return slices.SortedFunc(maps.Values(by), func(x, y vlanContext) int {
		return cmp.Or(planned(x)-planned(y), x.vlan-y.vlan)
	}), t.Err
}

// contextName is what switches call the context of a VLAN (common practice).
func contextName(vlan int) string { return "vlan-" + strconv.Itoa(vlan) }

// vlanOf reads the VLAN out of what switches call its context, such as vlan-10 or
// vlan10 (common practice; seen in a recording); 0 if it names none.
func vlanOf(name string) int {
	rest, ok := strings.CutPrefix(strings.ToLower(name), "vlan")
	n, err := strconv.Atoi(strings.TrimLeft(rest, "-_ "))
	if !ok || err != nil || n < 1 || n > maxVLAN {
		return 0
	}
	return n
}

// readContexts reads them one after another, until the agent turns out to have none.
func (got *Reading) readContexts(ctx context.Context, c *snmp.Client, list []vlanContext) []contextRead {
	ctx, cancel := context.WithTimeout(ctx, maxContextTime)
	defer cancel()
	var reads []contextRead
	kept, mute := 0, 0
	for _, x := range list {
		most := maxMute
		if !x.listed { // the plan's VLANs need not all be on this switch
			most *= 2
		}
		if ctx.Err() != nil || mute >= most || kept > maxContextFDB {
			break
		}
		read := got.readContext(ctx, c, x)
		if errors.Is(read.err, snmp.ErrOneContext) {
			return nil // the plan asks within one on purpose
		}
		if mute++; read.err == nil || errors.Is(read.err, errOneTable) {
			mute = -len(list)
		}
		kept += len(read.fdb)
		reads = append(reads, read)
	}
	return reads
}

func (got *Reading) readContext(ctx context.Context, c *snmp.Client, x vlanContext) contextRead {
	read := contextRead{vlanContext: x}
	in, err := c.Within(ctx, x.name, strconv.Itoa(x.vlan))
	if err != nil {
		read.err = err
		return read
	}
	defer in.Close() // it was read; how the socket closes tells nothing
	t := in.Walk(ctx, dot1dBasePortIfIndex, dot1dTpFdbPort, dot1dTpFdbStatus)
	var told inventory.Agent
	r := sorted(t.Rows)
	decodeBridge(r, &told)
	read.fdb, read.ports, read.err = decodeFDB(r), told.Bridge, t.Err
	if x.vlan != 1 && len(read.fdb) > 0 && slices.Equal(read.fdb, got.base()) {
		read.err = errOneTable
	}
	if read.err != nil {
		return read
	}
	for i := range read.fdb {
		read.fdb[i].VLAN = x.vlan
	}
	read.err = got.renumber(ctx, in, read)
	return read
}

// base are the rows of the default context's table.
func (got *Reading) base() []inventory.FDBEntry {
	return slices.DeleteFunc(slices.Clone(got.Agent.FDB), func(e inventory.FDBEntry) bool { return e.VLAN != 0 })
}

// renumber holds the interfaces that a context's rows lead to against the default context
// by their names: the same number may be another port there (RFC 2863, 3.1.5).
func (got *Reading) renumber(ctx context.Context, in *snmp.Client, read contextRead) error {
	var ask []snmp.OID
	used := map[inventory.IfIndex]bool{}
	for _, e := range read.fdb {
		if i := read.ports[e.Port]; i > 0 && !used[i] && len(ask) < maxNames {
			used[i] = true
			ask = append(ask, ifName.Append(uint32(i)))
		}
	}
	if len(ask) == 0 {
		return nil
	}
	there, err := in.Get(ctx, ask...)
	here, byName := map[inventory.IfIndex]string{}, map[string]inventory.IfIndex{}
	for _, i := range got.Agent.Interfaces {
		here[i.Index], byName[i.Name] = i.Name, i.Index
	}
	moved := map[inventory.IfIndex]inventory.IfIndex{}
	for _, row := range there {
		index, name := inventory.IfIndex(row.OID[len(row.OID)-1]), text(row.Value)
		if had := here[index]; name != "" && had != name && had != "" {
			moved[index] = byName[name]
		}
	}
	for p, i := range read.ports {
		if to, ok := moved[i]; ok {
			read.ports[p] = to
		}
	}
	return err
}

// merge adds the rows of contexts to the agent's table, in place of those rows of the default
// context that say the same without a VLAN.
func (got *Reading) merge(reads []contextRead) {
	ag := &got.Agent
	ports := portNumbers(ag)
	type learned struct {
		mac  inventory.MAC
		port inventory.BridgePort
	}
	told := map[learned]bool{}
	var add []inventory.FDBEntry
	for _, x := range reads {
		if errors.Is(x.err, errOneTable) {
			continue
		}
		for _, e := range x.fdb {
			if i, known := x.ports[e.Port]; known {
				e.Port = ports.of(e.Port, i)
			}
			add = append(add, e)
			told[learned{e.MAC, e.Port}] = true
		}
	}
	ag.FDB = slices.DeleteFunc(ag.FDB, func(e inventory.FDBEntry) bool { return e.VLAN == 0 && told[learned{e.MAC, e.Port}] })
	ag.FDB = append(ag.FDB, add...)
}

// numbering finds a bridge port for an interface in the default context's numbers.
type numbering struct {
	ag   *inventory.Agent
	back map[inventory.IfIndex]inventory.BridgePort
}

func portNumbers(ag *inventory.Agent) numbering {
	n := numbering{ag, map[inventory.IfIndex]inventory.BridgePort{}}
	for p, i := range ag.Bridge {
		if had, twice := n.back[i]; !twice || p < had {
			n.back[i] = p
		}
	}
	if ag.Bridge == nil {
		ag.Bridge = map[inventory.BridgePort]inventory.IfIndex{}
	}
	return n
}

// of is the number of the port with an interface, which is p unless that is another's;
// 0 if the interface is not known.
func (n numbering) of(p inventory.BridgePort, i inventory.IfIndex) inventory.BridgePort {
	had, taken := n.ag.Bridge[p]
	switch {
	case i == 0 || p == 0:
		return 0
	case taken && had == i:
		return p
	case n.back[i] != 0:
		return n.back[i]
	}
	for ; taken; _, taken = n.ag.Bridge[p] {
		p++
	}
	n.ag.Bridge[p], n.back[i] = i, p
	return p
}

// coverContexts says what was read. A VLAN that the agent does not list need not be there.
func (got *Reading) coverContexts(reads []contextRead, asked, more int) {
	if len(reads) == 0 {
		return
	}
	answered, lacking := 0, ""
	for _, x := range reads {
		o := outcome{table: TableOfVLAN(x.vlan), result: inventory.Complete}
		switch {
		case x.err == nil:
			answered++
		case errors.Is(x.err, errOneTable):
			answered++
			o.result, o.why = inventory.NotOffered, x.err.Error()
		case !x.listed:
			o.result, o.why = inventory.NotOffered, reason(x.err)
		case len(x.fdb) > 0:
			o.result, o.why = inventory.Partial, reason(x.err)
		case errors.Is(x.err, snmp.ErrNoResponse):
			o.result, o.why = inventory.NoAnswer, reason(x.err)
		default:
			o.result, o.why = inventory.Refused, reason(x.err)
		}
		if o.result != inventory.Complete && o.result != inventory.NotOffered {
			lacking = fmt.Sprintf("it keeps one for each VLAN, and that of VLAN %d: %s", x.vlan, o.why)
		}
		got.cover(o)
	}
	switch {
	case answered == 0:
		lacking = fmt.Sprintf("it keeps one for each VLAN, and of %d no context answers: let this machine read them, or say contexts: one in the plan's access", asked)
	case len(reads) < asked, more > 0:
		lacking = fmt.Sprintf("it keeps one for each VLAN, and %d of %d were read", len(reads), asked+more)
	}
	got.lacking = lacking
	if answered > 0 && len(got.Agent.Bridge) == 0 {
		got.cover(outcome{table: inventory.TableBridge, result: inventory.Complete})
	}
	if answered > 0 && got.fdb.result == inventory.NotOffered {
		got.fdb = outcome{table: inventory.TableFDB, result: inventory.Complete}
	}
	got.cover(got.withContexts(withBridge(got.fdb, got.Agent.Tables[inventory.TableBridge])))
}

// relearn takes a fresh table of the default context, and with it those of the contexts that
// were read before, or leaves all as it was.
func (got *Reading) relearn(ctx context.Context, c *snmp.Client, fresh []inventory.FDBEntry) {
	old := got.Agent.FDB
	got.Agent.FDB = fresh
	reads := got.readContexts(ctx, c, got.contexts)
	failed := func(x contextRead) bool { return x.err != nil && !errors.Is(x.err, errOneTable) }
	if len(reads) < len(got.contexts) || slices.ContainsFunc(reads, failed) {
		got.Agent.FDB = old
		return
	}
	got.merge(reads)
}

// withContexts holds the forwarding table against the contexts that it is made of.
func (got *Reading) withContexts(o outcome) outcome {
	if o.result == inventory.Complete && got.lacking != "" {
		o.result, o.why = inventory.Partial, got.lacking
	}
	return o
}
