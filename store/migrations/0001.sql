-- Times are Unix seconds, UTC. Powers are milliwatts. MAC and IP addresses are
-- text. NULL is "not known", never 0 or ''. A secret never enters this file.

CREATE TABLE runs (
	id       INTEGER PRIMARY KEY,
	started  INTEGER NOT NULL,
	finished INTEGER,          -- NULL: still running, or killed
	state    TEXT NOT NULL CHECK (state IN ('running', 'complete', 'aborted')),
	asked    TEXT NOT NULL,    -- schedule, person, commission
	settling INTEGER NOT NULL DEFAULT 0,
	devices  INTEGER,
	unknown  INTEGER,
	ports    INTEGER,
	findings INTEGER,
	why      TEXT,             -- of an aborted run
	snapshot BLOB              -- gzip JSON; only of the latest complete runs
) STRICT;

CREATE TABLE coverage (
	run     INTEGER NOT NULL REFERENCES runs (id) ON DELETE CASCADE,
	subject TEXT NOT NULL,
	module  TEXT NOT NULL,
	source  TEXT NOT NULL,
	result  TEXT NOT NULL,
	why     TEXT NOT NULL
) STRICT;
CREATE INDEX coverage_run ON coverage (run);

CREATE TABLE devices (
	name     TEXT PRIMARY KEY, -- the plan's, else the MAC
	planned  INTEGER NOT NULL,
	role     TEXT NOT NULL,
	hostname TEXT NOT NULL,
	maker    TEXT NOT NULL,
	product  TEXT NOT NULL,
	serial   TEXT NOT NULL,
	firmware TEXT NOT NULL,
	first    INTEGER NOT NULL,
	last     INTEGER NOT NULL, -- present
	absent_since INTEGER,      -- the first of an unbroken row of absences; NULL: present
	absent_runs  INTEGER NOT NULL DEFAULT 0
) STRICT;

CREATE TABLE addresses (
	mac    TEXT NOT NULL,
	addr   TEXT NOT NULL,
	device TEXT NOT NULL,
	first  INTEGER NOT NULL,
	last   INTEGER NOT NULL,
	PRIMARY KEY (addr, mac)
) STRICT, WITHOUT ROWID;

-- Who had a planned address, whenever that changed.
CREATE TABLE claims (
	addr TEXT NOT NULL,
	at   INTEGER NOT NULL,
	mac  TEXT NOT NULL,
	PRIMARY KEY (addr, at, mac)
) STRICT, WITHOUT ROWID;

CREATE TABLE places (
	mac    TEXT NOT NULL,
	switch TEXT NOT NULL,
	port   TEXT NOT NULL,
	basis  TEXT NOT NULL,
	first  INTEGER NOT NULL,
	last   INTEGER NOT NULL,
	PRIMARY KEY (mac, switch, port)
) STRICT, WITHOUT ROWID;

CREATE TABLE ports (
	id     INTEGER PRIMARY KEY,
	switch TEXT NOT NULL,
	port   TEXT NOT NULL,
	UNIQUE (switch, port)
) STRICT;

CREATE TABLE port_samples (
	port      INTEGER NOT NULL REFERENCES ports (id) ON DELETE CASCADE,
	at        INTEGER NOT NULL,
	up        INTEGER,
	speed     INTEGER,          -- bit/s
	state     TEXT,             -- of the PSE; NULL: feeds nothing
	class     INTEGER,
	draw      INTEGER,
	basis     TEXT NOT NULL,    -- of draw
	octets_in  INTEGER,         -- counters as read
	octets_out INTEGER,
	errors_in  INTEGER,
	fcs        INTEGER,
	denied     INTEGER,
	overload   INTEGER,
	short      INTEGER,
	mps_absent INTEGER,
	PRIMARY KEY (port, at)
) STRICT, WITHOUT ROWID;
CREATE INDEX port_samples_at ON port_samples (at);

CREATE TABLE port_hours (
	port    INTEGER NOT NULL REFERENCES ports (id) ON DELETE CASCADE,
	hour    INTEGER NOT NULL,  -- its first second
	peak    INTEGER NOT NULL,
	peak_at INTEGER NOT NULL,
	mean    INTEGER NOT NULL,
	samples INTEGER NOT NULL,
	basis   TEXT NOT NULL,
	PRIMARY KEY (port, hour)
) STRICT, WITHOUT ROWID;

-- Kept by the day from the first sample on, so that a peak is never thinned out.
CREATE TABLE port_days (
	port    INTEGER NOT NULL REFERENCES ports (id) ON DELETE CASCADE,
	day     INTEGER NOT NULL,  -- midnight in the site's zone
	peak    INTEGER NOT NULL,
	peak_at INTEGER NOT NULL,
	total   INTEGER NOT NULL,  -- of all samples, for the mean
	samples INTEGER NOT NULL,
	night   INTEGER NOT NULL,  -- samples between 21:00 and 05:00
	basis   TEXT NOT NULL,
	PRIMARY KEY (port, day)
) STRICT, WITHOUT ROWID;

CREATE TABLE supplies (
	id     INTEGER PRIMARY KEY,
	switch TEXT NOT NULL,
	supply TEXT NOT NULL,
	UNIQUE (switch, supply)
) STRICT;

CREATE TABLE supply_samples (
	supply   INTEGER NOT NULL REFERENCES supplies (id) ON DELETE CASCADE,
	at       INTEGER NOT NULL,
	budget   INTEGER,
	used     INTEGER,
	basis    TEXT NOT NULL,
	reserved INTEGER,
	PRIMARY KEY (supply, at)
) STRICT, WITHOUT ROWID;

CREATE TABLE supply_days (
	supply  INTEGER NOT NULL REFERENCES supplies (id) ON DELETE CASCADE,
	day     INTEGER NOT NULL,
	peak    INTEGER NOT NULL,
	peak_at INTEGER NOT NULL,
	total   INTEGER NOT NULL,
	samples INTEGER NOT NULL,
	night   INTEGER NOT NULL,
	basis   TEXT NOT NULL,
	PRIMARY KEY (supply, day)
) STRICT, WITHOUT ROWID;

CREATE TABLE uptimes (
	device TEXT NOT NULL,
	at     INTEGER NOT NULL,
	ticks  INTEGER NOT NULL,   -- hundredths of a second, unsigned 32 bits
	boots  INTEGER,
	engine INTEGER,            -- seconds
	host   INTEGER,            -- hundredths of a second
	PRIMARY KEY (device, at)
) STRICT, WITHOUT ROWID;

CREATE TABLE levels (
	device TEXT NOT NULL,
	at     INTEGER NOT NULL,
	dbm    REAL NOT NULL,
	PRIMARY KEY (device, at)
) STRICT, WITHOUT ROWID;

CREATE TABLE private_counts (
	network TEXT NOT NULL,
	day     INTEGER NOT NULL,
	most    INTEGER NOT NULL,
	PRIMARY KEY (network, day)
) STRICT, WITHOUT ROWID;

CREATE TABLE episodes (
	id      INTEGER PRIMARY KEY,
	key     TEXT NOT NULL,
	kind    TEXT NOT NULL,
	severity TEXT NOT NULL,
	opened  INTEGER NOT NULL,
	seen    INTEGER NOT NULL,
	cleared INTEGER,           -- NULL: open
	finding TEXT NOT NULL,     -- JSON, as last seen
	told    INTEGER,           -- when the urgent mail of its opening was queued
	told_over INTEGER          -- and that of its end
) STRICT;
CREATE UNIQUE INDEX episodes_open ON episodes (key) WHERE cleared IS NULL;
CREATE INDEX episodes_time ON episodes (opened);

CREATE TABLE hushes (
	key   TEXT PRIMARY KEY,    -- * is everything
	since INTEGER NOT NULL,
	until INTEGER NOT NULL,
	why   TEXT NOT NULL
) STRICT;

CREATE TABLE pulses (
	device TEXT PRIMARY KEY,
	at     INTEGER NOT NULL,
	up     INTEGER NOT NULL,
	since  INTEGER NOT NULL    -- unchanged
) STRICT;

CREATE TABLE outages (
	id    INTEGER PRIMARY KEY,
	what  TEXT NOT NULL,       -- internet, power
	since INTEGER NOT NULL,
	until INTEGER              -- NULL: it lasts
) STRICT;

CREATE TABLE logins (
	id      INTEGER PRIMARY KEY,
	device  TEXT NOT NULL,
	entry   TEXT NOT NULL,     -- which of the plan, never a secret
	at      INTEGER NOT NULL,  -- reserved: before the packet left
	asked   TEXT NOT NULL,
	outcome TEXT NOT NULL,     -- reserved until it is known
	why     TEXT NOT NULL,
	over    TEXT NOT NULL,
	firmware TEXT NOT NULL,    -- of the device at that time
	print   TEXT NOT NULL      -- fingerprint of its certificate or host key
) STRICT;
CREATE INDEX logins_device ON logins (device, at);

CREATE TABLE locks (
	device  TEXT PRIMARY KEY,
	at      INTEGER NOT NULL,
	sign    TEXT NOT NULL
) STRICT;

CREATE TABLE prints (
	device TEXT NOT NULL,
	door   TEXT NOT NULL,
	print  TEXT NOT NULL,
	at     INTEGER NOT NULL,
	PRIMARY KEY (device, door)
) STRICT, WITHOUT ROWID;

CREATE TABLE agents (
	device      TEXT PRIMARY KEY,
	repetitions INTEGER NOT NULL -- what worked last
) STRICT;

CREATE TABLE spool (
	id       INTEGER PRIMARY KEY,
	kind     TEXT NOT NULL,    -- digest, urgent, over, test, webhook
	key      TEXT NOT NULL UNIQUE, -- week or finding: what it is the only one of
	message  TEXT NOT NULL,    -- Message-ID
	target   TEXT NOT NULL,    -- recipients or URL
	body     BLOB NOT NULL,
	queued   INTEGER NOT NULL,
	next     INTEGER NOT NULL,
	attempts INTEGER NOT NULL DEFAULT 0,
	state    TEXT NOT NULL CHECK (state IN ('queued', 'sent', 'failed', 'dropped')),
	ended    INTEGER,
	words    TEXT NOT NULL DEFAULT '' -- the server's, or the error
) STRICT;
CREATE INDEX spool_state ON spool (state, next);

CREATE TABLE digests (
	week   TEXT PRIMARY KEY,   -- 2026-W48
	queued INTEGER NOT NULL
) STRICT;

CREATE TABLE facts (
	name  TEXT PRIMARY KEY,
	value TEXT NOT NULL
) STRICT;
