-- Books as the program of schema version 1 wrote them (SQLite dump); all names and animals are invented.
BEGIN TRANSACTION;
CREATE TABLE movement (
	id INTEGER NOT NULL, 
	batch TEXT NOT NULL, 
	source TEXT NOT NULL, 
	target TEXT NOT NULL, 
	count INTEGER NOT NULL, 
	happened_at TEXT NOT NULL, 
	recorded_at TEXT NOT NULL, 
	who TEXT NOT NULL, 
	"key" TEXT NOT NULL, 
	corrects TEXT, 
	note TEXT NOT NULL, 
	CONSTRAINT movement_id PRIMARY KEY (id), 
	CONSTRAINT movement_key UNIQUE ("key"), 
	CONSTRAINT movement_count CHECK (count > 0), 
	CONSTRAINT movement_places CHECK (source <> target)
)
 STRICT

;
INSERT INTO "movement" VALUES(1,'S1-01','supplier','dock',50,'2026-01-05T08:00:00.000000+00:00','2026-01-05T08:00:00.000000+00:00','Ada','m1',NULL,'');
INSERT INTO "movement" VALUES(2,'S1-01','dock','supplier',50,'2026-01-05T08:00:00.000000+00:00','2026-01-05T09:00:00.000000+00:00','Ada','undo','m1','corrects m1');
INSERT INTO "movement" VALUES(3,'S1-01','supplier','dock',48,'2026-01-05T08:00:00.000000+00:00','2026-01-05T09:00:00.000000+00:00','Ada','m5',NULL,'');
INSERT INTO "movement" VALUES(4,'S1-01','dock','vat:Q1',47,'2026-01-05T09:00:00.000000+00:00','2026-01-05T09:00:00.000000+00:00','Ada','m6',NULL,'');
INSERT INTO "movement" VALUES(5,'S1-01','dock','doa',1,'2026-01-05T09:00:00.000000+00:00','2026-01-05T09:00:00.000000+00:00','Ada','m7',NULL,'');
INSERT INTO "movement" VALUES(6,'S1-01','vat:Q1','dead',1,'2026-01-05T10:00:00.000000+00:00','2026-01-05T10:00:00.000000+00:00','Ada','m8',NULL,'');
INSERT INTO "movement" VALUES(7,'S1-01','vat:Q1','dead',1,'2026-01-05T11:00:00.000000+00:00','2026-01-05T11:00:00.000000+00:00','Ada','m10',NULL,'');
INSERT INTO "movement" VALUES(8,'S1-01','vat:Q1','dead',1,'2026-01-05T12:00:00.000000+00:00','2026-01-05T12:00:00.000000+00:00','Ada','m12',NULL,'');
INSERT INTO "movement" VALUES(9,'S1-01','vat:Q1','dead',1,'2026-01-05T13:00:00.000000+00:00','2026-01-05T13:00:00.000000+00:00','Ada','m14',NULL,'');
INSERT INTO "movement" VALUES(10,'S1-01','vat:Q1','dead',1,'2026-01-05T14:00:00.000000+00:00','2026-01-05T14:00:00.000000+00:00','Ada','m16',NULL,'');
INSERT INTO "movement" VALUES(11,'S1-01','vat:Q1','dead',1,'2026-01-05T15:00:00.000000+00:00','2026-01-05T15:00:00.000000+00:00','Ada','m18',NULL,'');
CREATE TABLE record (
	id INTEGER NOT NULL, 
	kind TEXT NOT NULL, 
	subject TEXT NOT NULL, 
	payload TEXT NOT NULL, 
	happened_at TEXT NOT NULL, 
	recorded_at TEXT NOT NULL, 
	who TEXT NOT NULL, 
	"key" TEXT NOT NULL, 
	corrects TEXT, 
	CONSTRAINT record_id PRIMARY KEY (id), 
	CONSTRAINT record_key UNIQUE ("key")
)
 STRICT

;
INSERT INTO "record" VALUES(1,'shipment','S1','{"lands":"2026-01-05","supplier":"one"}','2026-01-05T08:00:00.000000+00:00','2026-01-05T08:00:00.000000+00:00','Ada','r2',NULL);
INSERT INTO "record" VALUES(2,'batch','S1-01','{"group":"x","id":"S1-01","name":"Kükenqualle ✓","shipment":"S1","supplier":"one"}','2026-01-05T08:00:00.000000+00:00','2026-01-05T08:00:00.000000+00:00','Ada','r3',NULL);
INSERT INTO "record" VALUES(3,'received','S1','{"shipment":"S1"}','2026-01-05T09:00:00.000000+00:00','2026-01-05T09:00:00.000000+00:00','Ada','r4',NULL);
INSERT INTO "record" VALUES(4,'reading','Q1','{"quantity":"temperature","value":26.0}','2026-01-05T10:00:00.000000+00:00','2026-01-05T10:00:00.000000+00:00','Ada','r9',NULL);
INSERT INTO "record" VALUES(5,'reading','Q1','{"quantity":"temperature","value":26.1}','2026-01-05T11:00:00.000000+00:00','2026-01-05T11:00:00.000000+00:00','Ada','r11',NULL);
INSERT INTO "record" VALUES(6,'reading','Q1','{"quantity":"temperature","value":26.2}','2026-01-05T12:00:00.000000+00:00','2026-01-05T12:00:00.000000+00:00','Ada','r13',NULL);
INSERT INTO "record" VALUES(7,'reading','Q1','{"quantity":"temperature","value":26.3}','2026-01-05T13:00:00.000000+00:00','2026-01-05T13:00:00.000000+00:00','Ada','r15',NULL);
INSERT INTO "record" VALUES(8,'reading','Q1','{"quantity":"temperature","value":26.4}','2026-01-05T14:00:00.000000+00:00','2026-01-05T14:00:00.000000+00:00','Ada','r17',NULL);
INSERT INTO "record" VALUES(9,'reading','Q1','{"quantity":"temperature","value":26.5}','2026-01-05T15:00:00.000000+00:00','2026-01-05T15:00:00.000000+00:00','Ada','r19',NULL);
CREATE TABLE schema_version (
	version INTEGER NOT NULL, 
	CONSTRAINT schema_version_number PRIMARY KEY (version)
)
 STRICT

;
INSERT INTO "schema_version" VALUES(1);
CREATE INDEX movement_recorded_at ON movement (recorded_at);
CREATE INDEX movement_batch ON movement (batch);
CREATE INDEX record_subject ON record (kind, subject);
CREATE INDEX record_recorded_at ON record (recorded_at);
CREATE TRIGGER movement_no_update BEFORE update ON movement
BEGIN SELECT RAISE(ABORT, 'the books are append-only'); END;
CREATE TRIGGER movement_no_delete BEFORE delete ON movement
BEGIN SELECT RAISE(ABORT, 'the books are append-only'); END;
CREATE TRIGGER record_no_update BEFORE update ON record
BEGIN SELECT RAISE(ABORT, 'the books are append-only'); END;
CREATE TRIGGER record_no_delete BEFORE delete ON record
BEGIN SELECT RAISE(ABORT, 'the books are append-only'); END;
CREATE TRIGGER movement_no_replace BEFORE INSERT ON movement
WHEN EXISTS (SELECT 1 FROM movement WHERE key = NEW.key OR id = NEW.id)
BEGIN SELECT RAISE(ABORT, 'the books are append-only'); END;
CREATE TRIGGER record_no_replace BEFORE INSERT ON record
WHEN EXISTS (SELECT 1 FROM record WHERE key = NEW.key OR id = NEW.id)
BEGIN SELECT RAISE(ABORT, 'the books are append-only'); END;
COMMIT;
