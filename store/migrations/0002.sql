-- The supplies' hours, like those of the ports.
CREATE TABLE supply_hours (
	supply  INTEGER NOT NULL REFERENCES supplies (id) ON DELETE CASCADE,
	hour    INTEGER NOT NULL,
	peak    INTEGER NOT NULL,
	peak_at INTEGER NOT NULL,
	mean    INTEGER NOT NULL,
	samples INTEGER NOT NULL,
	basis   TEXT NOT NULL,
	PRIMARY KEY (supply, hour)
) STRICT, WITHOUT ROWID;
