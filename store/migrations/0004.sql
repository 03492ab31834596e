-- Coverage hardly changes from run to run, so it is kept by the span of runs
-- that it held for. Without this it would be two thirds of the logbook.
CREATE TABLE spans (
	subject TEXT NOT NULL,
	module  TEXT NOT NULL,
	source  TEXT NOT NULL,
	result  TEXT NOT NULL,
	why     TEXT NOT NULL,
	first   INTEGER NOT NULL,  -- the run that first said so
	until   INTEGER            -- the first complete run after it that did not; NULL: it still holds
) STRICT;

WITH
	done AS (SELECT id, row_number() OVER (ORDER BY id) AS n FROM runs WHERE state = 'complete'),
	said AS (SELECT DISTINCT subject, module, source, result, why, n FROM coverage JOIN done ON done.id = coverage.run),
	rows AS (SELECT *, n - row_number() OVER (PARTITION BY subject, module, source, result, why ORDER BY n) AS island FROM said),
	held AS (SELECT subject, module, source, result, why, min(n) AS a, max(n) + 1 AS b FROM rows GROUP BY subject, module, source, result, why, island)
INSERT INTO spans (subject, module, source, result, why, first, until)
	SELECT subject, module, source, result, why, x.id, y.id FROM held JOIN done x ON x.n = a LEFT JOIN done y ON y.n = b;

DROP TABLE coverage;
ALTER TABLE spans RENAME TO coverage;
CREATE INDEX coverage_until ON coverage (until);

-- What each run asks of a full logbook, without reading all of it.
CREATE INDEX port_samples_speed ON port_samples (port, speed);
CREATE INDEX runs_started ON runs (started);
CREATE INDEX runs_running ON runs (id) WHERE state = 'running';
CREATE INDEX runs_snapshot ON runs (id) WHERE snapshot IS NOT NULL;
