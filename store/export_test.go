package store

import "database/sql"

// DB gives tests the connection pool, to look at its settings.
func (l *Logbook) DB() *sql.DB { return l.db }
