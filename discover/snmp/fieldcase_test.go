package snmp_test

import (
	"context"
	"errors"
	"net"
	"strings"
	"testing"
	"time"

	"boundwalk/discover/simnet"
	"boundwalk/discover/snmp"

	"github.com/gosnmp/gosnmp"
)

// FC-05: a walk that never ends. Its rows stay, it is not complete, and the next
// table of the device is read as if nothing had been.
func TestEndlessWalk(t *testing.T) {
	for _, tt := range []struct {
		name     string
		cycle    []uint32
		bulkRows int
		rows     int
	}{
		{"a: 1, 2, 3, 1", []uint32{1, 2, 3}, 0, 3},
		{"b: always 7", []uint32{7}, 0, 1},
		{"c: ever new, one row a request", nil, 1, 9000},
		{"d: ever new, 50 rows a request", nil, 50, 9000},
	} {
		t.Run(tt.name, func(t *testing.T) {
			dev := quaySwitch(t, 4)
			dev.faults(t, simnet.Faults{Endless: &simnet.Endless{Under: ifDescr.String(), Cycle: tt.cycle}, BulkRows: tt.bulkRows})
			c := dial(t, dev, public, snmp.Options{})
			got := c.WalkAll(t.Context(), []snmp.OID{ifDescr}, []snmp.OID{ifName})
			if got[0].Result != snmp.Partial || len(got[0].Rows) != tt.rows || got[0].Err == nil ||
				!strings.Contains(got[0].Err.Error(), "loop suspected") {
				t.Errorf("got %v, %d rows, %v", got[0].Result, len(got[0].Rows), got[0].Err)
			}
			if got[1].Result != snmp.Complete || len(got[1].Rows) != 4 {
				t.Errorf("the other table: got %v, %d rows, %v", got[1].Result, len(got[1].Rows), got[1].Err)
			}
		})
	}
}

func TestWalkLimits(t *testing.T) {
	for _, tt := range []struct {
		name, want string
		opts       snmp.Options
	}{
		{"rows", "row limit", snmp.Options{MaxRows: 100}},
		{"bytes", "size limit", snmp.Options{MaxBytes: 20_000}},
		{"time", "time limit", snmp.Options{MaxTime: time.Millisecond, MaxRows: 1 << 30, MaxBytes: 1 << 40}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			dev := quaySwitch(t, 4)
			dev.faults(t, simnet.Faults{Endless: &simnet.Endless{Under: ifDescr.String()}})
			got := dial(t, dev, public, tt.opts).Walk(t.Context(), ifDescr)
			late := got.Result == snmp.NoAnswer && len(got.Rows) == 0 && tt.name == "time" // on a busy machine
			if got.Result != snmp.Partial && !late || got.Err == nil || !strings.Contains(got.Err.Error(), tt.want) {
				t.Errorf("got %v, %v", got.Result, got.Err)
			}
		})
	}
}

// FC-06: an agent that cannot answer a large bulk request is read by smaller
// ones, to the same rows as by GETNEXT, and the size is remembered.
func TestBulkTooLarge(t *testing.T) {
	for _, tt := range []struct {
		name   string
		faults simnet.Faults
		reps   int
	}{
		{"A: silent over 16 repetitions", simnet.Faults{IgnoreBulkOver: 16}, 10},
		{"B: tooBig over 4 repetitions", simnet.Faults{TooBigOver: 4}, 4},
		{"silent to any bulk", simnet.Faults{IgnoreBulkOver: 1}, 1},
		{"empty answers to bulk", simnet.Faults{Alter: func(p *gosnmp.SnmpPacket) {
			if len(p.Variables) > 12 {
				p.Variables = nil
			}
		}}, 10},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			dev := quaySwitch(t, 40)
			want := dial(t, dev, public, snmp.Options{Repetitions: 1}).WalkAll(t.Context(), []snmp.OID{ifDescr}, []snmp.OID{ifName})
			dev.faults(t, tt.faults)
			first := dial(t, dev, public, snmp.Options{Timeout: quick.Timeout, Retries: -1, Sockets: 1})
			got := first.WalkAll(t.Context(), []snmp.OID{ifDescr}, []snmp.OID{ifName})
			for i := range want {
				if got[i].Result != snmp.Complete || got[i].Err != nil || got[i].Repetitions != tt.reps {
					t.Errorf("table %d: got %v by %d repetitions, %v", i, got[i].Result, got[i].Repetitions, got[i].Err)
				}
				sameRows(t, got[i].Rows, want[i].Rows)
			}
			if n := first.Stats().Repetitions; n != tt.reps {
				t.Errorf("%d repetitions to remember, want %d", n, tt.reps)
			}
			next := dial(t, dev, public, snmp.Options{Timeout: quick.Timeout, Repetitions: tt.reps})
			if again := next.Walk(t.Context(), ifDescr); again.Result != snmp.Complete || next.Stats().Retries != 0 {
				t.Errorf("next run: got %v with %d retries", again.Result, next.Stats().Retries)
			}
		})
	}
}

// FC-07: the device answers from another of its addresses.
func TestAnswerFromElsewhere(t *testing.T) {
	elsewhere, err := net.ListenPacket("udp4", "127.0.0.2:0")
	if err != nil {
		t.Skip("no second loopback address:", err)
	}
	t.Cleanup(func() { elsewhere.Close() })
	alive := quick
	alive.Alive = true
	t.Run("the right request", func(t *testing.T) {
		t.Parallel()
		for _, cred := range []snmp.Credentials{public, auditor} {
			dev := start(t, simnet.AgentOptions{Communities: []string{"public"}, Users: []simnet.User{auditUser}, Rows: quayRows(4)})
			dev.faults(t, simnet.Faults{ReplyFrom: elsewhere})
			c := dial(t, dev, cred, alive)
			rows, err := c.Get(t.Context(), sysName)
			if err != nil || rows[0].Value != snmp.ValueOf(snmp.OctetString, "quay-switch") {
				t.Errorf("version %s: got %v, %v", cred.Version, rows, err)
			}
			if got := c.WalkAll(t.Context(), []snmp.OID{ifDescr}, []snmp.OID{ifName}); len(got[0].Rows) != 4 || len(got[1].Rows) != 4 {
				t.Errorf("version %s: got %v, %v", cred.Version, got[0].Err, got[1].Err)
			}
			if from := c.Stats().AnsweredFrom.String(); from != "127.0.0.2" {
				t.Errorf("version %s: answered from %s", cred.Version, from)
			}
		}
	})
	t.Run("not this user", func(t *testing.T) {
		t.Parallel()
		dev := start(t, simnet.AgentOptions{Users: []simnet.User{auditUser}})
		dev.faults(t, simnet.Faults{ReplyFrom: elsewhere})
		cred := auditor
		cred.User = "nobody"
		if _, err := snmp.Dial(t.Context(), dev.addr, cred, alive); !errors.Is(err, snmp.ErrWrongUser) {
			t.Errorf("got %v", err)
		}
	})
	t.Run("another request", func(t *testing.T) {
		t.Parallel()
		dev := quaySwitch(t, 4)
		dev.faults(t, simnet.Faults{ReplyFrom: elsewhere, WrongRequestID: 1})
		_, err := snmp.Dial(t.Context(), dev.addr, public, alive)
		if !errors.Is(err, snmp.ErrNoResponse) {
			t.Errorf("got %v", err)
		}
	})
	t.Run("not known to be up", func(t *testing.T) {
		t.Parallel()
		dev := quaySwitch(t, 4)
		dev.faults(t, simnet.Faults{ReplyFrom: elsewhere})
		if _, err := snmp.Dial(t.Context(), dev.addr, public, quick); !errors.Is(err, snmp.ErrNoResponse) {
			t.Errorf("got %v", err)
		}
		opts := quick
		opts.Unconnected = true
		dial(t, dev, public, opts)
	})
}

// FC-08 a: a value belongs to the OID it carries, not to the one asked for.
func TestMismatchedValue(t *testing.T) {
	dev := quaySwitch(t, 4)
	dev.faults(t, simnet.Faults{Rename: map[string]string{sysName.String(): sysDescr.String()}})
	c := dial(t, dev, public, snmp.Options{})
	rows, err := c.Get(t.Context(), sysName)
	if err != nil || rows[0].OID.Compare(sysName) != 0 || rows[0].Value != (snmp.Value{}) || c.Stats().Dropped == 0 {
		t.Errorf("alone: got %v, %v, %+v", rows, err, c.Stats())
	}
	if rows, err = c.Get(t.Context(), sysName, sysDescr); err != nil || rows[0].Value != (snmp.Value{}) ||
		rows[1].Value != snmp.ValueOf(snmp.OctetString, "Tern Quay switch") {
		t.Errorf("with the other: got %v, %v", rows, err)
	}
}

// FC-08 b: every answer comes twice; 300 requests, all values right, no retry.
func TestDuplicates(t *testing.T) {
	dev := quaySwitch(t, 300)
	dev.faults(t, simnet.Faults{Duplicate: true})
	c := dial(t, dev, public, snmp.Options{})
	for i := range uint32(300) {
		rows, err := c.Get(t.Context(), ifIndex.Append(i+1))
		if err != nil || rows[0].Value != snmp.ValueOf(snmp.Integer, int64(i+1)) {
			t.Fatalf("port %d: got %v, %v", i+1, rows, err)
		}
	}
	if st := c.Stats(); st.Requests != 301 || st.Retries != 0 || st.Dropped != 0 {
		t.Errorf("got %+v", st)
	}
}

// FC-08 d, and what else must not pass for an answer. A garbage datagram before
// the right answer costs nothing.
func TestWrongAnswers(t *testing.T) {
	alter := func(f func(p *gosnmp.SnmpPacket)) simnet.Faults { return simnet.Faults{Alter: f} }
	for name, f := range map[string]simnet.Faults{
		"request ID + 1":     {WrongRequestID: 1},
		"request ID 0":       alter(func(p *gosnmp.SnmpPacket) { p.RequestID = 0 }),
		"the request itself": alter(func(p *gosnmp.SnmpPacket) { p.PDUType = gosnmp.GetRequest }),
		"version 1":          alter(func(p *gosnmp.SnmpPacket) { p.Version = gosnmp.Version1 }),
		"another community":  alter(func(p *gosnmp.SnmpPacket) { p.Community = "private" }),
		"cut short":          {CutTo: 30},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			dev := quaySwitch(t, 4)
			c := dial(t, dev, public, quick)
			dev.faults(t, f)
			rows, err := c.Get(t.Context(), sysName)
			if !errors.Is(err, snmp.ErrNoResponse) || rows[0].Value != (snmp.Value{}) || c.Stats().BadDatagrams == 0 {
				t.Errorf("got %v, %v, %+v", rows, err, c.Stats())
			}
		})
	}
	t.Run("garbage before each answer", func(t *testing.T) {
		dev := quaySwitch(t, 40)
		dev.faults(t, simnet.Faults{Garbage: []byte("\x30\x82\xff\xff not SNMP")})
		c := dial(t, dev, public, snmp.Options{})
		got := c.Walk(t.Context(), ifIndex, ifDescr)
		if st := c.Stats(); got.Result != snmp.Complete || len(got.Rows) != 80 || st.Retries != 0 || st.BadDatagrams != st.Requests {
			t.Errorf("got %v, %d rows, %+v", got.Result, len(got.Rows), st)
		}
	})
}

// A lossy link costs retries and no rows.
func TestLoss(t *testing.T) {
	t.Parallel()
	dev := quaySwitch(t, 200)
	c := dial(t, dev, public, snmp.Options{Timeout: quick.Timeout, Retries: 3, Sockets: 1, MaxVarbinds: 20})
	dev.faults(t, simnet.Faults{DropEvery: 7})
	got := c.Walk(t.Context(), ifIndex, ifDescr)
	if st := c.Stats(); got.Result != snmp.Complete || len(got.Rows) != 400 || st.Retries == 0 || st.Repetitions != 0 {
		t.Errorf("got %v, %d rows, %+v", got.Result, len(got.Rows), st)
	}
}

// FC-09: a stop ends whatever waits. The time-out is an hour, so that only the
// cancellation can end these.
func TestCancel(t *testing.T) {
	opts := snmp.Options{Timeout: 2 * time.Hour, MaxTime: time.Hour}
	for name, call := range map[string]func(ctx context.Context, c *snmp.Client) error{
		"get":  func(ctx context.Context, c *snmp.Client) error { _, err := c.Get(ctx, sysName); return err },
		"walk": func(ctx context.Context, c *snmp.Client) error { return c.Walk(ctx, ifDescr).Err },
		"walk all": func(ctx context.Context, c *snmp.Client) error {
			tables := c.WalkAll(ctx, []snmp.OID{ifDescr}, []snmp.OID{ifName}, []snmp.OID{ifType})
			for _, table := range tables {
				if table.Result == snmp.Complete || table.Result == snmp.NotOffered || table.Result == snmp.NoAnswer {
					t.Errorf("a cancelled walk is %v", table.Result)
				}
			}
			return tables[2].Err
		},
	} {
		t.Run(name, func(t *testing.T) {
			dev := quaySwitch(t, 4)
			c := dial(t, dev, public, opts)
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			dev.faults(t, simnet.Faults{Alter: func(*gosnmp.SnmpPacket) { cancel() }, WrongRequestID: 1})
			if err := call(ctx, c); !errors.Is(err, context.Canceled) {
				t.Errorf("got %v", err)
			}
			// The deadline that the stop moved must not end the next call.
			dev.faults(t, simnet.Faults{})
			if _, err := c.Get(t.Context(), sysName); err != nil {
				t.Errorf("next call: %v", err)
			}
		})
	}
	t.Run("first contact", func(t *testing.T) {
		addr, arrived := silence(t)
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		go func() { <-arrived; cancel() }()
		if _, err := snmp.Dial(ctx, addr, public, opts); !errors.Is(err, context.Canceled) {
			t.Errorf("got %v", err)
		}
	})
}

// FC-09: a silent device costs the datagrams of first contact and no table; one
// that falls silent in mid-run costs one request and one ping a socket.
func TestSilenceIsCheap(t *testing.T) {
	t.Parallel()
	for range 12 {
		addr, arrived := silence(t)
		_, err := snmp.Dial(t.Context(), addr, public, snmp.Options{Timeout: 20 * time.Millisecond, Alive: true})
		var targetErr *snmp.TargetError
		if !errors.Is(err, snmp.ErrNoResponse) || !errors.As(err, &targetErr) || targetErr.Target != addr {
			t.Fatalf("got %v", err)
		}
		if n := len(arrived); n > 3 { // fewer if the last were not read yet
			t.Errorf("first contact sent %d datagrams, want two and one unconnected", n)
		}
	}
	dev := quaySwitch(t, 4)
	c := dial(t, dev, public, quick)
	before := c.Stats().Requests
	dev.faults(t, simnet.Faults{Silent: true})
	for i, table := range c.WalkAll(t.Context(), groups()...) {
		if table.Result != snmp.NoAnswer || !errors.Is(table.Err, snmp.ErrNoResponse) {
			t.Errorf("table %d: got %v, %v", i, table.Result, table.Err)
		}
	}
	if n := c.Stats().Requests - before; n > 4 {
		t.Errorf("%d requests to a silent device, want at most 4", n)
	}
}

// A closed port says at once that the host is up and has no agent.
func TestClosedPort(t *testing.T) {
	conn, err := net.ListenPacket("udp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := conn.LocalAddr().(*net.UDPAddr).AddrPort()
	conn.Close()
	if _, err := snmp.Dial(t.Context(), addr, public, snmp.Options{Timeout: time.Hour}); !errors.Is(err, snmp.ErrRefused) {
		t.Errorf("got %v", err)
	}
}

func TestClosedClient(t *testing.T) {
	c := dial(t, quaySwitch(t, 4), public, snmp.Options{})
	for range 2 {
		if err := c.Close(); err != nil {
			t.Error(err)
		}
	}
	before := c.Stats().Requests
	if _, err := c.Get(t.Context(), sysName); !errors.Is(err, net.ErrClosed) {
		t.Errorf("get: got %v", err)
	}
	for _, table := range c.WalkAll(t.Context(), []snmp.OID{ifDescr}, []snmp.OID{ifName}) {
		if !errors.Is(table.Err, net.ErrClosed) || table.Result != 0 {
			t.Errorf("walk: got %v, %v", table.Result, table.Err)
		}
	}
	if n := c.Stats().Requests - before; n != 0 {
		t.Errorf("%d requests after Close", n)
	}
}

// FC-12: almost nothing in it is no failure, and not offered is not empty.
func TestSparseDevices(t *testing.T) {
	private := snmp.MustOID("1.3.6.1.4.1.99999.1")
	for name, rows := range map[string][]simnet.Row{
		"nothing at all":         nil,
		"a private subtree only": {{OID: private.Append(1, 0).String(), Value: simnet.Text("cam")}},
	} {
		for _, version := range []string{"1", "2c"} {
			t.Run(name+", version "+version, func(t *testing.T) {
				dev := start(t, simnet.AgentOptions{Communities: []string{"public"}, Rows: rows})
				c := dial(t, dev, snmp.Credentials{Version: version, Community: "public"}, snmp.Options{})
				got, err := c.Get(t.Context(), sysName, sysDescr)
				if err != nil || got[0].Value.Kind != snmp.NoSuchObject || got[1].Value.Kind != snmp.NoSuchObject {
					t.Errorf("get: %v, %v", got, err)
				}
				tables := c.WalkAll(t.Context(), []snmp.OID{ifIndex, ifDescr}, []snmp.OID{private})
				if tables[0].Result != snmp.NotOffered || tables[0].Err != nil {
					t.Errorf("interfaces: got %v, %v", tables[0].Result, tables[0].Err)
				}
				want := snmp.NotOffered
				if len(rows) > 0 {
					want = snmp.Complete
				}
				if tables[1].Result != want || len(tables[1].Rows) != len(rows) {
					t.Errorf("private: got %v, %v", tables[1].Result, tables[1].Rows)
				}
			})
		}
	}
}
