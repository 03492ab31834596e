-- Rows that only the second version could hold, beside those of the first.
INSERT INTO supply_hours VALUES (1, 1792800000, 31000, 1792801500, 24000, 4, 'measured');
INSERT INTO locks VALUES ('slip-cam', 1795500000, 'HTTP 423');
INSERT INTO logins VALUES (1, 'slip-cam', 'admin over rtsp', 1795500000, 'person', 'refused', '401', 'rtsp', '1.4', '');
PRAGMA user_version = 2;
