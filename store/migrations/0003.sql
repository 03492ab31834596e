-- A sign of a lock belongs to the try that showed it.
DROP TABLE locks;
ALTER TABLE logins ADD COLUMN mac TEXT NOT NULL DEFAULT '';     -- read on its address just before; '': on loopback there is none
ALTER TABLE logins ADD COLUMN sent INTEGER NOT NULL DEFAULT 0;  -- logins that may have left
ALTER TABLE logins ADD COLUMN lock TEXT NOT NULL DEFAULT '';    -- the sign; '': none
ALTER TABLE logins ADD COLUMN cleared INTEGER;                  -- when a person cleared it
