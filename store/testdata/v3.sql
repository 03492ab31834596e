-- Rows that only the third version could hold, and coverage of four runs: what
-- it says of the yard changes and comes back.
UPDATE logins SET mac = '00:00:5e:00:53:31', sent = 1, lock = 'HTTP 423';
INSERT INTO runs (id, started, finished, state, asked) VALUES
	(9, 1795601800, 1795601820, 'complete', 'schedule'), (10, 1795602700, 1795602720, 'complete', 'schedule'), (11, 1795603600, 1795603620, 'complete', 'schedule');
INSERT INTO coverage VALUES
	(9, 'yard', '', 'arp', 'complete', ''), (10, 'yard', '', 'arp', 'partial', 'dropped 3'), (11, 'yard', '', 'arp', 'complete', ''),
	(9, 'quay-switch', 'IF-MIB', 'snmp', 'complete', ''), (10, 'quay-switch', 'IF-MIB', 'snmp', 'complete', ''), (10, 'quay-switch', 'IF-MIB', 'snmp', 'complete', '');
PRAGMA user_version = 3;
