package store

// saying is a row of coverage, which two runs mostly have in common.
type saying struct{ subject, module, source, result, why string }

// coverage keeps what was looked at as spans of runs: what is said again costs
// nothing, what is no longer said ends with this run, what is new begins.
func (w *runWriter) coverage() error {
	now := make(map[saying]bool, len(w.snap.Coverage))
	for _, c := range w.snap.Coverage {
		now[saying{c.Subject, c.Table, c.Source, string(c.Result), c.Why}] = true
	}
	var ended []int64
	const open = `SELECT rowid, subject, module, source, result, why FROM coverage WHERE until IS NULL`
	if err := query(w.ctx, w.tx, open, nil, func(scan func(...any) error) error {
		var id int64
		var s saying
		if err := scan(&id, &s.subject, &s.module, &s.source, &s.result, &s.why); err != nil {
			return err
		}
		if now[s] {
			delete(now, s)
		} else {
			ended = append(ended, id)
		}
		return nil
	}); err != nil {
		return err
	}
	for _, id := range ended {
		if err := w.exec(`UPDATE coverage SET until = ? WHERE rowid = ?`, w.id, id); err != nil {
			return err
		}
	}
	for _, c := range w.snap.Coverage { // in its order
		s := saying{c.Subject, c.Table, c.Source, string(c.Result), c.Why}
		if !now[s] {
			continue
		}
		delete(now, s)
		if err := w.exec(`INSERT INTO coverage (subject, module, source, result, why, first) VALUES (?, ?, ?, ?, ?, ?)`,
			s.subject, s.module, s.source, s.result, s.why, w.id); err != nil {
			return err
		}
	}
	return nil
}
