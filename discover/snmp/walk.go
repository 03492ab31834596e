package snmp

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"github.com/gosnmp/gosnmp"
)

var (
	errLoop  = errors.New("rows do not increase, loop suspected")
	errRows  = errors.New("row limit reached, loop suspected")
	errBytes = errors.New("size limit reached, loop suspected")
	errTotal = errors.New("size limit of all tables reached")
	errTime  = errors.New("time limit reached")
	errEmpty = errors.New("the agent answers without values")
	errMixed = errors.New("rows of another column")
)

// Walk reads the subtrees below columns in lock step, as many in one request as
// fit. It is bounded by Options, and asks for less where the agent cannot answer.
// A column that lies below another is read once.
func (c *Client) Walk(ctx context.Context, columns ...OID) Table {
	return c.walk(ctx, c.sessions[0], columns)
}

// WalkAll walks each group, over two sockets where Options allow. The answer has
// one table for each group, in the order given.
func (c *Client) WalkAll(ctx context.Context, groups ...[]OID) []Table {
	tables := make([]Table, len(groups)) // a slot for each walk, so no lock
	var next atomic.Int32
	work := func(s *session) {
		for i := int(next.Add(1)) - 1; i < len(groups); i = int(next.Add(1)) - 1 {
			tables[i] = c.walk(ctx, s, groups[i])
		}
	}
	var wg sync.WaitGroup
	if len(groups) > 1 && c.device.opts.Sockets != 1 {
		if len(c.sessions) < 2 {
			_, _ = c.second() // without one, the first does all
		}
		for _, s := range c.sessions[1:] {
			wg.Go(func() { work(s) })
		}
	}
	work(c.sessions[0])
	wg.Wait()
	return tables
}

// A column is one subtree under way.
type column struct {
	root, last OID
	rows       []Row
	done       bool
	next       OID   // the name outside that ended it, if one did
	err        error // why it ended early
}

func (col *column) fail(err error) { col.done, col.err = true, err }

// A walk is one call of Walk.
type walk struct {
	s        *session
	columns  []*column
	bytes    int
	reps     int // most repetitions, as far as this walk knows; 0: no limit known
	width    int // most columns in one request; 0: no limit known
	used     int // repetitions in the last request
	answered bool
	failed   []*column // the columns of a request that was too large
}

func (c *Client) walk(ctx context.Context, s *session, columns []OID) Table {
	w := &walk{s: s}
	columns = slices.SortedFunc(slices.Values(columns), OID.Compare)
	for _, root := range columns {
		if n := len(w.columns); n > 0 && root.HasPrefix(w.columns[n-1].root) {
			continue
		}
		w.columns = append(w.columns, &column{root: root, last: root})
	}
	limit := orDefault(s.device.opts.MaxTime, time.Minute)
	walkCtx, cancel := context.WithTimeout(ctx, limit)
	defer cancel()
	err := w.run(walkCtx)
	if err != nil && ctx.Err() == nil && walkCtx.Err() != nil {
		err = fmt.Errorf("%w: %v", errTime, limit)
	}
	table := w.table(err)
	table.Err = c.errorf("walk", table.Err)
	return table
}

// run asks until every column is done, or returns what stopped the whole walk.
func (w *walk) run(ctx context.Context) error {
	for {
		live := slices.DeleteFunc(slices.Clone(w.columns), func(col *column) bool { return col.done })
		if len(live) == 0 {
			return nil
		}
		if err := cmp.Or(w.s.device.lost(), w.s.device.keep(0)); err != nil {
			return err
		}
		if err := w.round(ctx, live); err != nil {
			return err
		}
	}
}

// round sends one request for as many live columns as fit.
func (w *walk) round(ctx context.Context, live []*column) error {
	opts := w.s.device.opts
	reps, width := w.limits()
	live = live[:fit(live, width, w.s.wire.room(), func(col *column) OID { return col.last })]
	q := request{pdu: gosnmp.GetBulkRequest, reps: max(1, min(reps, opts.maxVarbinds()/len(live)))}
	if q.reps == 1 {
		q.pdu = gosnmp.GetNextRequest
	}
	for _, col := range live {
		q.oids = append(q.oids, col.last)
	}
	w.used = q.reps
	p, err := w.s.ask(ctx, w.s.wire, q, opts.tries(), opts.timeout())
	switch {
	case errors.Is(err, errGarbled):
		w.answered = true
		return w.less(live, err)
	case errors.Is(err, ErrNoResponse):
		if gone := w.s.gone(ctx, err); gone != nil {
			return gone
		}
		w.answered = true
		w.failed = live
		return w.less(live, err)
	case err != nil:
		return err
	}
	w.answered = true
	switch p.Error {
	case gosnmp.NoError:
		return w.take(live, p.Variables)
	case gosnmp.TooBig:
		w.failed = live
		return w.less(live, errors.New("the agent says tooBig"))
	}
	return w.status(live, p)
}

// limits are the most repetitions and columns for the next request.
func (w *walk) limits() (reps, width int) {
	d := w.s.device
	d.mu.Lock()
	defer d.mu.Unlock()
	most := d.opts.maxVarbinds()
	reps = min(orDefault(d.reps, most), orDefault(w.reps, most))
	if c, ok := w.s.wire.(*community); ok && c.codec.Version == gosnmp.Version1 {
		reps = 1 // version 1 has no GETBULK
	}
	return reps, min(orDefault(d.width, most), orDefault(w.width, most))
}

// less makes the next request smaller: fewer rows, GETNEXT, fewer columns. A
// column that fails alone by GETNEXT is given up with cause.
func (w *walk) less(live []*column, cause error) error {
	switch {
	case w.used > 10:
		w.reps = 10
	case w.used > 4:
		w.reps = 4
	case w.used > 1:
		w.reps = 1
	case len(live) > 1:
		w.width = len(live) / 2
	default:
		w.drop(live[0], cause)
	}
	return nil
}

// drop gives up a column. The others start again at full size.
func (w *walk) drop(col *column, cause error) {
	col.fail(cause)
	w.reps, w.width, w.failed = 0, 0, nil
}

// settle tells the other walks of this device what size works, once a request
// that was too large got through in a smaller size. Repetitions are blamed only
// if the very same columns got through: else one of them may have been the cause.
func (w *walk) settle(live []*column) {
	d := w.s.device
	d.mu.Lock()
	defer d.mu.Unlock()
	if slices.Equal(live, w.failed) {
		d.reps = w.used
	} else {
		d.width = len(live)
	}
	w.failed = nil
}

// status deals with an error status. Version 1 ends a walk by noSuchName.
func (w *walk) status(live []*column, p *gosnmp.SnmpPacket) error {
	k := int(p.ErrorIndex) - 1
	if len(live) == 1 {
		k = 0
	}
	if k < 0 || k >= len(live) {
		return w.less(live, fmt.Errorf("the agent says %v", p.Error))
	}
	switch p.Error {
	case gosnmp.NoSuchName:
		live[k].done = true
	case gosnmp.AuthorizationError, gosnmp.NoAccess:
		live[k].fail(fmt.Errorf("%w: the agent says %v", ErrRefused, p.Error))
	default:
		cause := fmt.Errorf("the agent says %v", p.Error)
		if w.used > 1 {
			return w.less(live, cause)
		}
		w.drop(live[k], cause)
	}
	return nil
}

// take stores the values of one answer, row by row: the first belongs to the
// first column, and so on round (RFC 3416, 4.2.3). An answer to GETBULK may stop
// anywhere; one to GETNEXT may not, so a short one cannot be trusted to be in order.
func (w *walk) take(live []*column, vars []gosnmp.SnmpPDU) error {
	if len(vars) == 0 || w.used == 1 && len(vars) < len(live) {
		w.failed = live
		return w.less(live, errEmpty)
	}
	if w.failed != nil {
		w.settle(live)
	}
	had := w.bytes
	dropped := max(0, len(vars)-w.used*len(live)) // more than asked for
	for i, v := range vars[:len(vars)-dropped] {
		if col := live[i%len(live)]; !col.done && !w.value(col, v) {
			dropped++
		}
	}
	w.s.device.count(func(st *Stats) { st.Dropped += dropped })
	if w.bytes > orDefault(w.s.device.opts.MaxBytes, 4<<20) {
		return errBytes
	}
	return w.s.device.keep(w.bytes - had)
}

// value adds one value to its column, or ends the column. It reports false for
// one that is of no use; its row stays, since the instance exists.
func (w *walk) value(col *column, v gosnmp.SnmpPDU) bool {
	value := valueOf(v)
	switch value.Kind {
	case endOfView, NoSuchObject, NoSuchInstance: // its name only echoes the request
		col.done = true
		return true
	}
	name, err := ParseOID(v.Name)
	switch {
	case err != nil:
		col.fail(err)
		return false
	case name.Compare(col.last) <= 0:
		col.fail(fmt.Errorf("%w: %v after %v", errLoop, name, col.last))
		return false
	case !name.HasPrefix(col.root):
		col.done, col.next = true, name
		return true
	case len(col.rows) >= orDefault(w.s.device.opts.MaxRows, 9000):
		col.fail(fmt.Errorf("%w: %d", errRows, len(col.rows)))
		return true
	}
	col.last = name
	col.rows = append(col.rows, Row{OID: name, Value: value})
	w.bytes += 4*len(name) + len(value.raw) + 64
	return value.Kind != Null
}

// passed tells whether name lies behind the first row of another column. No row
// can be the next one there: an agent that answers so has mixed up its values.
func (w *walk) passed(name OID) bool {
	return slices.ContainsFunc(w.columns, func(col *column) bool {
		return len(col.rows) > 0 && name.HasPrefix(col.root) && name.Compare(col.rows[0].OID) > 0
	})
}

// table adds up what the columns have. The error of the whole walk comes first.
func (w *walk) table(err error) Table {
	t := Table{Err: err, Repetitions: w.used}
	for _, col := range w.columns {
		t.Rows = append(t.Rows, col.rows...)
		if col.err == nil && w.passed(col.next) {
			col.err = fmt.Errorf("%w: %v after %v", errMixed, col.next, col.last)
		}
		if t.Err == nil {
			t.Err = col.err
		}
	}
	t.Result = result(t, w.answered)
	return t
}

func result(t Table, answered bool) Result {
	switch {
	case t.Err == nil && len(t.Rows) == 0:
		return NotOffered
	case t.Err == nil:
		return Complete
	case len(t.Rows) > 0:
		return Partial
	case isRefusal(t.Err):
		return Refused
	case errors.Is(t.Err, ErrNoResponse), errors.Is(t.Err, errTime) && !answered:
		return NoAnswer
	case !answered: // cancelled, or closed
		return 0
	}
	return Partial
}
