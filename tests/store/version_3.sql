-- Books as the program of schema version 3 wrote them (SQLite dump); all names and animals are invented.
BEGIN TRANSACTION;
CREATE TABLE holding (site TEXT NOT NULL, batch TEXT NOT NULL, place TEXT NOT NULL,
count INTEGER NOT NULL, CONSTRAINT holding_spot PRIMARY KEY (site, batch, place)) STRICT;
INSERT INTO "holding" VALUES('','S1-01','supplier',-40);
INSERT INTO "holding" VALUES('','S1-01','vat:Q1',37);
INSERT INTO "holding" VALUES('','S1-02','supplier',-40);
INSERT INTO "holding" VALUES('','S1-02','vat:Q1',40);
INSERT INTO "holding" VALUES('','H1','opening',-40);
INSERT INTO "holding" VALUES('','H1','vat:G1',40);
INSERT INTO "holding" VALUES('','S1-01','dead',3);
CREATE TABLE movement (id INTEGER NOT NULL, batch TEXT NOT NULL, source TEXT NOT NULL,
target TEXT NOT NULL, count INTEGER NOT NULL, happened_at TEXT NOT NULL, recorded_at TEXT NOT NULL, who TEXT NOT NULL, key TEXT NOT NULL,
corrects TEXT, note TEXT NOT NULL, site TEXT NOT NULL, seal TEXT NOT NULL,
CONSTRAINT movement_id PRIMARY KEY (id), CONSTRAINT movement_key UNIQUE (site, key),
CONSTRAINT movement_count CHECK (count > 0), CONSTRAINT movement_places CHECK (source <> target)) STRICT;
INSERT INTO "movement" VALUES(1,'S1-01','supplier','vat:Q1',40,'2026-01-05T08:00:00.000000+00:00','2026-01-05T08:00:00.000000+00:00','Ada','came-S1-01',NULL,'','','064b3b0c7ec081adb76c54615ab0574cb40ba415b9ca95bf36801f7870bf39b4');
INSERT INTO "movement" VALUES(2,'S1-02','supplier','vat:Q1',40,'2026-01-05T09:00:00.000000+00:00','2026-01-05T09:00:00.000000+00:00','Ada','came-S1-02',NULL,'','','e9d5cba389bdaa31f2765dda1a7f2f84f40f0bbbe947f20df0f6b23a0321e5eb');
INSERT INTO "movement" VALUES(3,'H1','opening','vat:G1',40,'2026-01-05T10:00:00.000000+00:00','2026-01-05T10:00:00.000000+00:00','Ada','came-H1',NULL,'','','0d495761feaf526c4008f0aea86d13ef6c0f790b63009dd0464c573e54e3bb93');
INSERT INTO "movement" VALUES(4,'S1-01','vat:Q1','dead',5,'2026-01-05T12:00:00.000000+00:00','2026-01-05T12:00:00.000000+00:00','Ada','dead',NULL,'','','871d1dcbe50df65697eadfb0b3ee190cc5b0dc454b1c68598809876bec13d613');
INSERT INTO "movement" VALUES(5,'S1-01','dead','vat:Q1',2,'2026-01-05T12:00:00.000000+00:00','2026-01-05T14:00:00.000000+00:00','Ada','back','dead','corrects dead','','431db3b446451df1fc688850acb96799263f6d144680ef4c8ce9ab63dc4a33ec');
CREATE TABLE proved (site TEXT NOT NULL, movement INTEGER NOT NULL, movement_seal TEXT NOT NULL,
record INTEGER NOT NULL, record_seal TEXT NOT NULL, at TEXT NOT NULL, program TEXT NOT NULL,
CONSTRAINT proved_site PRIMARY KEY (site)) STRICT;
CREATE TABLE record (id INTEGER NOT NULL, kind TEXT NOT NULL, subject TEXT NOT NULL,
payload TEXT NOT NULL, happened_at TEXT NOT NULL, recorded_at TEXT NOT NULL, who TEXT NOT NULL, key TEXT NOT NULL,
corrects TEXT, site TEXT NOT NULL, seal TEXT NOT NULL, batch TEXT NOT NULL DEFAULT '?', shipment TEXT NOT NULL DEFAULT '?', topic TEXT NOT NULL DEFAULT '?',
CONSTRAINT record_id PRIMARY KEY (id), CONSTRAINT record_key UNIQUE (site, key)) STRICT;
INSERT INTO "record" VALUES(1,'batch','S1-01','{"announced":40,"group":"zoanthid","id":"S1-01","name":"Invented S1-01","shipment":"S1","size_mm":30.0}','2026-01-05T08:00:00.000000+00:00','2026-01-05T08:00:00.000000+00:00','Ada','r1',NULL,'','4bc0491add29d1218f1ee42ceebd5af3017e9a6ad21f579d63cb02bc50034a9b','S1-01','S1','');
INSERT INTO "record" VALUES(2,'stage','S1-01','{"batch":"S1-01","stage":"quarantine","vat":"Q1"}','2026-01-05T08:00:00.000000+00:00','2026-01-05T08:00:00.000000+00:00','Ada','r3',NULL,'','0d2128919586c41652098a596a9efc6e584affcbb55cc72aba641c6adc49acb8','S1-01','','');
INSERT INTO "record" VALUES(3,'batch','S1-02','{"announced":40,"group":"zoanthid","id":"S1-02","name":"Invented S1-02","shipment":"S1","size_mm":30.0}','2026-01-05T09:00:00.000000+00:00','2026-01-05T09:00:00.000000+00:00','Ada','r4',NULL,'','7bb2dcc846668de47a55fdcfdc438bfe64e4bf32e6b5a73a91e8f0026250efca','S1-02','S1','');
INSERT INTO "record" VALUES(4,'stage','S1-02','{"batch":"S1-02","stage":"quarantine","vat":"Q1"}','2026-01-05T09:00:00.000000+00:00','2026-01-05T09:00:00.000000+00:00','Ada','r6',NULL,'','e3e23ceec5d62b5bf9a7a916af452e2611c0beea50a932783f9e395796aeb20d','S1-02','','');
INSERT INTO "record" VALUES(5,'batch','H1','{"announced":40,"group":"zoanthid","id":"H1","name":"Invented H1","shipment":"","size_mm":30.0}','2026-01-05T10:00:00.000000+00:00','2026-01-05T10:00:00.000000+00:00','Ada','r7',NULL,'','a67c9dbc3267439013d52585a8542664793ac3f53c6659486b8ab047ee5cf638','H1','','');
INSERT INTO "record" VALUES(6,'stage','H1','{"batch":"H1","stage":"quarantine","vat":"Q1"}','2026-01-05T10:00:00.000000+00:00','2026-01-05T10:00:00.000000+00:00','Ada','r9',NULL,'','3c9ff5214b0a500a0f6bd2b74942616e6b3f52feffdd6351ab273939c8d8bb04','H1','','');
INSERT INTO "record" VALUES(7,'received','S1','{"shipment":"S1"}','2026-01-05T11:00:00.000000+00:00','2026-01-05T11:00:00.000000+00:00','Ada','r10',NULL,'','343796c56deb20f00fdb496281c2b2d11cc99689c8432c0e6f1f1c89dd90db0c','','S1','');
INSERT INTO "record" VALUES(8,'finding','S1-01','{"batch":"S1-01","note":"","vat":"Q1","what":"mite"}','2026-01-05T12:00:00.000000+00:00','2026-01-05T12:00:00.000000+00:00','Ada','seen',NULL,'','298c7196137c835ea5a8a4ae82a9e5b69545d70db9bb0b9f0b64abc2d6b12115','S1-01','','mite');
INSERT INTO "record" VALUES(9,'reading','main','{"quantity":"temperature_c","scale":"","value":25.5}','2026-01-05T12:00:00.000000+00:00','2026-01-05T12:00:00.000000+00:00','Ada','read',NULL,'','f68ca0805397ff39be70125361b455e57a28d48149eea9789bdb4952c7a6214a','','','temperature_c');
INSERT INTO "record" VALUES(10,'feed','F1','{"hash":"00","revoked":false,"who":"farm"}','2026-01-05T12:00:00.000000+00:00','2026-01-05T12:00:00.000000+00:00','Ada','r14',NULL,'','189f2c2379c3444debc40424134cd33a6b6ade09b8f14adfe8ff309952a78cb7','','','');
INSERT INTO "record" VALUES(11,'finding','S1-01','{"withdrawn":true}','2026-01-05T12:00:00.000000+00:00','2026-01-05T14:00:00.000000+00:00','Ada','r15','seen','','0494125400967a7050decac4f5c2c246c527538e9b9ca53639e73d939b8e0fc3','S1-01','','mite');
INSERT INTO "record" VALUES(12,'done','S1-01/dip/1','{"batch":"S1-01","kind":"dip","vat":"Q1"}','2026-01-05T14:00:00.000000+00:00','2026-01-05T14:00:00.000000+00:00','Ada','r16',NULL,'','90b3cda28838a45f9c7a47db21a925a01b37d33b36e548423b848a2f0cfcdb50','S1-01','','');
INSERT INTO "record" VALUES(13,'published','a@farm','{"fields":{"alarms_minutes":[],"categories":["farm"],"description":"","end":"2026-02-01T09:00:00Z","location":"","precedes":[],"start":"2026-02-01T08:00:00Z","status":"CONFIRMED","summary":"Dip","url":""},"fingerprint":"f0","sequence":0,"stamp":"2026-01-05T10:00:00+00:00"}','2026-01-05T13:00:00.000000+00:00','2026-01-05T14:00:00.000000+00:00','Ada','r17',NULL,'','8671b495947bcabe19eee65ae45a64a3bec12cac4a562724df2671101d93a5fe','','','2026-02-01T09:00:00Z');
INSERT INTO "record" VALUES(14,'published','a@farm','{"fields":{"alarms_minutes":[],"categories":["farm"],"description":"","end":"2026-02-01T09:00:00Z","location":"","precedes":[],"start":"2026-02-01T08:00:00Z","status":"CONFIRMED","summary":"Dip","url":""},"fingerprint":"f1","sequence":1,"stamp":"2026-01-05T10:00:00+00:00"}','2026-01-05T14:00:00.000000+00:00','2026-01-05T14:00:00.000000+00:00','Ada','r18',NULL,'','f7e8838330eeec9af1fa5a605f6381101c7c6b2677ddbe81eb7c2fda5cc00491','','','2026-02-01T09:00:00Z');
INSERT INTO "record" VALUES(15,'published','b@farm','{"fields":{"alarms_minutes":[],"categories":["farm"],"description":"","end":"2026-02-01T09:00:00Z","location":"","precedes":[],"start":"2026-02-01T08:00:00Z","status":"CONFIRMED","summary":"Dip","url":""},"fingerprint":"f3","sequence":3,"stamp":"2026-01-05T10:00:00+00:00"}','2026-01-05T14:00:00.000000+00:00','2026-01-05T14:00:00.000000+00:00','Ada','r19',NULL,'','766342f6258e6e3757d327b1081024bf7557b73e9f4a299e716779897d20fc99','','','2026-02-01T09:00:00Z');
INSERT INTO "record" VALUES(16,'hold','S1-02','{"batch":"S1-02","reason":"spots"}','2026-01-05T14:00:00.000000+00:00','2026-01-05T14:00:00.000000+00:00','Ada','r20',NULL,'','c183d3ec9dc8820d1ebee36fbfce92784981f348937c46e976e66656419ecc95','S1-02','','');
CREATE TABLE schema_version (version INTEGER NOT NULL,
CONSTRAINT schema_version_number PRIMARY KEY (version)) STRICT;
INSERT INTO "schema_version" VALUES(1);
INSERT INTO "schema_version" VALUES(2);
INSERT INTO "schema_version" VALUES(3);
CREATE TABLE site (name TEXT NOT NULL, CONSTRAINT site_name PRIMARY KEY (name)) STRICT;
INSERT INTO "site" VALUES('');
CREATE INDEX movement_batch ON movement (site, batch);
CREATE INDEX movement_order ON movement (site, id);
CREATE INDEX movement_recorded_at ON movement (site, recorded_at);
CREATE INDEX record_order ON record (site, id);
CREATE INDEX record_recorded_at ON record (site, recorded_at);
CREATE INDEX record_subject ON record (site, kind, subject, happened_at);
CREATE INDEX record_kind ON record (site, kind, happened_at);
CREATE INDEX record_topic ON record (site, kind, topic, subject, happened_at);
CREATE INDEX record_batch ON record (site, batch) WHERE batch <> '';
CREATE INDEX record_shipment ON record (site, shipment) WHERE shipment <> '';
CREATE INDEX record_corrects ON record (site, corrects) WHERE corrects IS NOT NULL;
CREATE INDEX movement_corrects ON movement (site, corrects) WHERE corrects IS NOT NULL;
CREATE INDEX movement_source ON movement (site, source, happened_at);
CREATE INDEX holding_living ON holding (site, batch) WHERE count > 0 AND (place = 'dock' OR substr(place, 1, 4) = 'vat:');
CREATE TRIGGER movement_no_update BEFORE update ON movement
BEGIN SELECT RAISE(ABORT, 'the books are append-only'); END;
CREATE TRIGGER movement_no_delete BEFORE delete ON movement
BEGIN SELECT RAISE(ABORT, 'the books are append-only'); END;
CREATE TRIGGER record_no_update BEFORE update ON record
BEGIN SELECT RAISE(ABORT, 'the books are append-only'); END;
CREATE TRIGGER record_no_delete BEFORE delete ON record
BEGIN SELECT RAISE(ABORT, 'the books are append-only'); END;
CREATE TRIGGER site_no_update BEFORE update ON site
BEGIN SELECT RAISE(ABORT, 'the books are append-only'); END;
CREATE TRIGGER site_no_delete BEFORE delete ON site
BEGIN SELECT RAISE(ABORT, 'the books are append-only'); END;
CREATE TRIGGER movement_no_replace BEFORE INSERT ON movement
WHEN EXISTS (SELECT 1 FROM movement WHERE (site = NEW.site AND key = NEW.key) OR id = NEW.id)
BEGIN SELECT RAISE(ABORT, 'the books are append-only'); END;
CREATE TRIGGER record_no_replace BEFORE INSERT ON record
WHEN EXISTS (SELECT 1 FROM record WHERE (site = NEW.site AND key = NEW.key) OR id = NEW.id)
BEGIN SELECT RAISE(ABORT, 'the books are append-only'); END;
CREATE TRIGGER movement_holding AFTER INSERT ON movement BEGIN
INSERT INTO holding (site, batch, place, count) VALUES (NEW.site, NEW.batch, NEW.source, -NEW.count)
ON CONFLICT (site, batch, place) DO UPDATE SET count = count + excluded.count;
INSERT INTO holding (site, batch, place, count) VALUES (NEW.site, NEW.batch, NEW.target, NEW.count)
ON CONFLICT (site, batch, place) DO UPDATE SET count = count + excluded.count;
END;
CREATE TRIGGER record_placed BEFORE INSERT ON record WHEN NEW.batch = '?'
BEGIN SELECT RAISE(ABORT, 'the books are of a newer program'); END;
COMMIT;
