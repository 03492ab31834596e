-- Rows as the first version of the logbook held them.
INSERT INTO runs (id, started, finished, state, asked, devices, unknown, ports, findings) VALUES (7, 1795600000, 1795600020, 'complete', 'schedule', 2, 0, 1, 1);
INSERT INTO runs (id, started, state, asked) VALUES (8, 1795600900, 'running', 'schedule');
INSERT INTO coverage VALUES (7, 'yard', '', 'arp', 'complete', '');
INSERT INTO devices VALUES ('slip-cam', 1, 'camera', '', '', '', '', '1.4', 1795000000, 1795600020, NULL, 0);
INSERT INTO addresses VALUES ('00:00:5e:00:53:31', '203.0.113.131', 'slip-cam', 1795000000, 1795600020);
INSERT INTO places VALUES ('00:00:5e:00:53:31', 'quay-switch', '5', 'fdb', 1795000000, 1795600020);
INSERT INTO ports VALUES (1, 'quay-switch', '5');
INSERT INTO port_samples (port, at, up, speed, state, class, draw, basis) VALUES (1, 1795600020, 1, 1000000000, 'delivering', 3, 5100, 'measured');
INSERT INTO port_days VALUES (1, 1795564800, 12600, 1795595400, 17700, 2, 1, 'measured');
INSERT INTO supplies VALUES (1, 'quay-switch', '1');
INSERT INTO supply_samples VALUES (1, 1795600020, 130000, 20000, 'measured', 61600);
INSERT INTO episodes (key, kind, severity, opened, seen, finding) VALUES ('link-down/quay-switch/5', 'link-down', 'warning', 1795600020, 1795600020,
	'{"Key": "link-down/quay-switch/5", "Kind": "link-down", "Severity": "warning", "Subject": "quay-switch/5"}');
INSERT INTO digests VALUES ('2026-W47', 1795420800);
INSERT INTO spool (kind, key, message, target, body, queued, next, state) VALUES ('digest', '2026-W47', '<1@example.net>', 'owner@example.net', x'41', 1795420800, 1795420800, 'queued');
PRAGMA user_version = 1;
PRAGMA application_id = 0x62776c6b;
