package mib

import (
	"context"
	"errors"
	"slices"
	"time"

	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

// Request says whose agent is read and what else the plan wants of it. The zero
// value asks for the standard tables of an agent that no plan names.
type Request struct {
	Device   string
	Objects  []inventory.PlanObject
	Contexts string // which of its contexts are read, as [inventory.Access] has it
	VLANs    []int  // the plan's
}

// Reading is what one agent told. Agent says so for each table in Tables, and
// Coverage once more with the reason; both have the same results.
type Reading struct {
	Agent     inventory.Agent
	Neighbors []inventory.Sighting // of both neighbour tables; Live is false: a row is no presence
	Coverage  []inventory.Coverage
	Err       error // what ended reading early: silence, or the end of ctx; nil otherwise

	newer    bool          // the forwarding table is that of IEEE8021-Q-BRIDGE-MIB
	contexts []vlanContext // that were read beside the default one
	fdb      outcome       // of the default context's forwarding table
	lacking  string        // of the other contexts' tables; empty: nothing
}

// Collect reads all tables of the agent. What came before an error is there.
// The caller fills in Target, Version of v1 and v2c, and Weak of the Agent.
func Collect(ctx context.Context, c *snmp.Client, req Request) Reading {
	got, r := collect(ctx, c, req, systemGroup(), modules())
	start := time.Now()
	got.perVLAN(ctx, c, req, r)
	got.count(c, start)
	return got
}

// Pulse reads in a few packets what changes from minute to minute: uptime, PSE
// states and power, supplies, what the plan names, a UPS's source, charge and load, and which ports are up.
// Columns that it does not ask for are absent from its Agent, and Tables speaks
// of the columns that it asks for.
func Pulse(ctx context.Context, c *snmp.Client, req Request) Reading {
	var mods []module
	for _, arc := range []pseArcs{pethRFC, pethIEEE} {
		table := inventory.TablePSE
		if len(mods) > 0 {
			table = inventory.TablePSE8023
		}
		mods = append(mods, module{table: table, keys: slices.Concat(
			[]snmp.OID{arc.detection()}, oids(arc.own()), oids(arc.mainFields())[:3])})
	}
	got, _ := collect(ctx, c, req, instances(sysUpTime, hrSystemUptime), append(mods,
		module{table: inventory.TableInterfaces, keys: []snmp.OID{ifOperStatus}},
		module{table: inventory.TableUPS, keys: []snmp.OID{upsBattery, upsOutputSource, upsOutputPower, upsOutputPercentLoad}},
	))
	return got
}

// Relearn reads the forwarding and neighbour tables once more into got, once
// everything has been woken: their rows age out after some minutes of silence. A
// table that cannot be read whole this time stays as it was.
func Relearn(ctx context.Context, c *snmp.Client, got *Reading) {
	start := time.Now()
	offered := func(table string) bool {
		r, asked := got.Agent.Tables[table]
		return asked && r != inventory.NotOffered
	}
	var mods []module
	if offered(inventory.TableFDB) {
		fdb, filter := fdbModule(), []snmp.OID{dot1qVlanFdbId}
		if got.newer {
			fdb.keys, filter = append(fdb.keys, ieeeFdbPort, ieeeFdbStatus), append(filter, ieeeVlanFdbID)
		}
		mods = append(mods, fdb, module{table: inventory.TableVLAN, keys: filter})
	}
	if offered(inventory.TableNeighbors) {
		mods = append(mods, neighborModule())
	}
	if len(mods) == 0 {
		return
	}
	r, outs, _ := read(ctx, c, mods)
	r, _ = asOlder(r)
	for _, o := range outs {
		if o.table == inventory.TableFDB && o.result == inventory.NotOffered && len(got.contexts) > 0 {
			o = got.fdb
		}
		if o.result != inventory.Complete {
			continue
		}
		switch o.table {
		case inventory.TableFDB:
			got.relearn(ctx, c, decodeFDB(r))
			got.cover(got.withContexts(withBridge(o, got.Agent.Tables[inventory.TableBridge])))
		case inventory.TableNeighbors:
			got.Neighbors = decodeNeighbors(r, got.Agent.Device, start)
			got.cover(o)
		}
	}
	got.count(c, start)
}

func collect(ctx context.Context, c *snmp.Client, req Request, first []snmp.OID, mods []module) (Reading, rows) {
	start := time.Now()
	got := Reading{Agent: inventory.Agent{Device: req.Device, Tables: map[string]inventory.Result{}}}
	if e := c.Engine(); len(e.ID) > 0 {
		got.Agent.Engine = inventory.Engine{Known: true, ID: string(e.ID), Boots: e.Boots, Time: e.Time}
		got.Agent.Version = "v3"
	}
	system := got.system(ctx, c, first)
	objects := plannedObjects(req.Objects)
	columns, single := plannedOIDs(objects)
	if len(objects) > 0 {
		mods = append(mods, module{table: inventory.TableObjects, keys: columns})
	}
	r, outs, err := read(ctx, c, mods)
	if err != nil {
		got.Err = err
	}
	r, one := asOlder(sorted(system, got.late(ctx, c, r, single), r))
	cut := decode(r, &got.Agent, objects)
	cut[inventory.TableFDB] = !one
	got.newer = len(r.below(ieeeFdbPort)) > 0
	got.Neighbors = decodeNeighbors(r, req.Device, got.Agent.Read)
	for _, o := range outs {
		switch o.table {
		case inventory.TableFDB:
			got.fdb = o
			o = withBridge(o, got.Agent.Tables[inventory.TableBridge])
		case inventory.TableObjects:
			o = withObjects(o, got.Agent.Objects)
		}
		if cut[o.table] && o.result == inventory.Complete {
			o.result, o.why = inventory.Partial, "more than is kept of one agent"
		}
		got.cover(o)
	}
	got.count(c, start)
	return got, r
}

// decode fills ag from rows, and says of which tables it kept only a part.
func decode(r rows, ag *inventory.Agent, objects []planned) (cut map[string]bool) {
	cut = map[string]bool{}
	keep := func(table string, whole bool) { cut[table] = !whole }
	decodeSystem(r, &ag.System)
	ag.System.HostUp = ticks(r.scalar(hrSystemUptime))
	ag.Interfaces = decodeInterfaces(r)
	decodeEther(r, ag.Interfaces)
	ag.Addresses = decodeAddresses(r)
	decodeBridge(r, ag)
	ag.FDB = decodeFDB(r)
	vlans, whole := decodeVLANs(r)
	ag.VLANs = vlans
	keep(inventory.TableVLAN, whole)
	ag.PVID = decodePVID(r)
	ag.STP = decodeSTP(r)
	ag.LAG = decodeLAG(r)
	ag.LLDP = decodeLLDPLocal(r)
	ag.Neighbors, whole = decodeLLDPNeighbors(r, ag)
	keep(inventory.TableLLDP, whole)
	ag.PSEPorts = decodePSE(r)
	ag.Supplies = decodeSupplies(r)
	ag.Entities = decodeEntities(r)
	ag.Sensors = decodeSensors(r, ag.Entities)
	ag.Energy = decodeEnergy(r, ag.Entities)
	ag.Storage = decodeStorage(r)
	ag.UPS = decodeUPS(r)
	ag.Radio = decodeDot11(r)
	ag.Printer = decodePrinter(r)
	ag.Objects, whole = decodeObjects(r, objects)
	keep(inventory.TableObjects, whole)
	return cut
}

// system gets the first objects, whose uptime is that of Agent.Read.
func (got *Reading) system(ctx context.Context, c *snmp.Client, first []snmp.OID) []snmp.Row {
	r, err := c.Get(ctx, first...)
	got.Agent.Read = time.Now()
	r = slices.DeleteFunc(r, isAbsent)
	o := outcome{table: inventory.TableSystem, result: inventory.Complete}
	switch {
	case err != nil && len(r) > 0:
		o.result, o.why = inventory.Partial, reason(err)
	case errors.Is(err, snmp.ErrNoResponse):
		o.result, o.why = inventory.NoAnswer, reason(err)
	case err != nil && ctx.Err() == nil:
		o.result, o.why = inventory.Refused, reason(err)
	case err != nil:
		o.result, o.why = inventory.Partial, reason(err)
	case !slices.ContainsFunc(r, func(row snmp.Row) bool { return !row.OID.HasPrefix(ipForwarding) }):
		o.result, o.why = inventory.NotOffered, notOffered
	}
	got.cover(o)
	return r
}

func isAbsent(row snmp.Row) bool {
	k := row.Value.Kind
	return k == snmp.Null || k == snmp.NoSuchObject || k == snmp.NoSuchInstance
}

// late gets the clock in a request of its own, so that the time of reading is
// known, and with it the single instances that the plan names.
func (got *Reading) late(ctx context.Context, c *snmp.Client, r rows, single []snmp.OID) []snmp.Row {
	ask := slices.Clone(single)
	if len(r.below(hrSystemDate)) > 0 {
		ask = append(ask, instances(hrSystemDate, hrSystemUptime)...)
	}
	if len(ask) == 0 || got.Err != nil {
		return nil
	}
	before := time.Now()
	late, err := c.Get(ctx, ask...)
	half := time.Since(before) / 2
	if err != nil && ctx.Err() != nil || errors.Is(err, snmp.ErrNoResponse) {
		got.Err = err
	}
	late = sorted(slices.DeleteFunc(late, isAbsent))
	got.Agent.Date = decodeDate(rows(late).scalar(hrSystemDate), before.Add(half))
	return late
}

// withBridge holds the forwarding table against the table that leads its ports to
// interfaces: without that, it does not tell where anything is.
func withBridge(o outcome, bridge inventory.Result) outcome {
	if o.result == inventory.Complete && bridge != inventory.Complete {
		o.result, o.why = inventory.Partial, "the table of bridge ports: "+string(bridge)
	}
	return o
}

// withObjects judges by the readings, since single instances are not walked.
func withObjects(o outcome, list []inventory.ObjectReading) outcome {
	if o.result != inventory.NotOffered {
		return o
	}
	for _, r := range list {
		if r.Value != nil {
			return outcome{table: o.table, result: inventory.Complete}
		}
		o.why = r.Why
	}
	return o
}

// cover says how reading a table ended, in both places and once in each.
func (got *Reading) cover(o outcome) {
	got.Agent.Tables[o.table] = o.result
	c := inventory.Coverage{Subject: got.Agent.Device, Table: o.table, Source: inventory.SourceSNMP, Result: o.result, Why: o.why}
	i := slices.IndexFunc(got.Coverage, func(had inventory.Coverage) bool { return had.Table == o.table })
	if i < 0 {
		got.Coverage = append(got.Coverage, c)
		return
	}
	got.Coverage[i] = c
}

func (got *Reading) count(c *snmp.Client, start time.Time) {
	s := c.Stats()
	got.Agent.Alias = s.AnsweredFrom
	got.Agent.Stats = inventory.AgentStats{
		Requests: s.Requests, Retries: s.Retries, Mismatched: s.Dropped, Strays: s.BadDatagrams, Repetitions: s.Repetitions,
		Took: got.Agent.Stats.Took + time.Since(start),
	}
}
