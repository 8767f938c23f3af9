BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0004');
CREATE TABLE attachments (
	first_entry INTEGER NOT NULL, 
	last_entry INTEGER NOT NULL, 
	deleted INTEGER NOT NULL, 
	attachment TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	file TEXT NOT NULL, 
	sha256 TEXT NOT NULL, 
	bytes INTEGER NOT NULL, 
	zone TEXT, 
	panel TEXT, 
	taken_on TEXT, 
	taken_by TEXT, 
	note TEXT, 
	CONSTRAINT pk_attachments PRIMARY KEY (first_entry), 
	CONSTRAINT uq_attachments UNIQUE (attachment), 
	CONSTRAINT fk_attachments_zone FOREIGN KEY(zone) REFERENCES zones (zone) DEFERRABLE INITIALLY DEFERRED, 
	CONSTRAINT fk_attachments_panel FOREIGN KEY(panel) REFERENCES panels (panel) DEFERRABLE INITIALLY DEFERRED
)
 STRICT

;
CREATE TABLE elevations (
	first_entry INTEGER NOT NULL, 
	last_entry INTEGER NOT NULL, 
	deleted INTEGER NOT NULL, 
	elevation TEXT NOT NULL, 
	name TEXT NOT NULL, 
	drawing TEXT NOT NULL, 
	width_m REAL NOT NULL, 
	height_m REAL NOT NULL, 
	CONSTRAINT pk_elevations PRIMARY KEY (first_entry), 
	CONSTRAINT uq_elevations UNIQUE (elevation)
)
 STRICT

;
INSERT INTO "elevations" VALUES(2,2,0,'north','Quillmere Pumping Station, north front','drawings/north.svg',20.6,16.0);
INSERT INTO "elevations" VALUES(3,3,0,'east','Quillmere Pumping Station, east flank','drawings/east.svg',22.0,16.3);
CREATE TABLE head (
	one INTEGER NOT NULL, 
	entry INTEGER NOT NULL, 
	hash BLOB NOT NULL, 
	CONSTRAINT pk_head PRIMARY KEY (one)
)
 STRICT

;
INSERT INTO "head" VALUES(1,32,X'3CEFD25D83BF2454AD2E5715636CE75CA58B28F453FEEA234B43E28B422EC2CA');
CREATE TABLE height_maps (
	first_entry INTEGER NOT NULL, 
	last_entry INTEGER NOT NULL, 
	deleted INTEGER NOT NULL, 
	height_map TEXT NOT NULL, 
	attachment TEXT NOT NULL, 
	zone TEXT NOT NULL, 
	panel TEXT, 
	moment TEXT NOT NULL, 
	height_unit TEXT NOT NULL, 
	pixel_x_um REAL NOT NULL, 
	pixel_y_um REAL NOT NULL, 
	rows INTEGER NOT NULL, 
	columns INTEGER NOT NULL, 
	lowest_um REAL NOT NULL, 
	highest_um REAL NOT NULL, 
	unseen REAL NOT NULL, 
	instrument TEXT NOT NULL, 
	measured_on TEXT NOT NULL, 
	confirmed_by TEXT NOT NULL, 
	CONSTRAINT pk_height_maps PRIMARY KEY (first_entry), 
	CONSTRAINT uq_height_maps UNIQUE (height_map), 
	CONSTRAINT fk_height_maps_attachment FOREIGN KEY(attachment) REFERENCES attachments (attachment) DEFERRABLE INITIALLY DEFERRED, 
	CONSTRAINT fk_height_maps_zone FOREIGN KEY(zone) REFERENCES zones (zone) DEFERRABLE INITIALLY DEFERRED, 
	CONSTRAINT fk_height_maps_panel FOREIGN KEY(panel) REFERENCES panels (panel) DEFERRABLE INITIALLY DEFERRED
)
 STRICT

;
CREATE TABLE journal (
	entry INTEGER NOT NULL, 
	save INTEGER NOT NULL, 
	of_table TEXT NOT NULL, 
	record_key TEXT NOT NULL, 
	old TEXT, 
	new TEXT, 
	previous BLOB NOT NULL, 
	CONSTRAINT pk_journal PRIMARY KEY (entry), 
	CONSTRAINT fk_journal_save FOREIGN KEY(save) REFERENCES saves (save) DEFERRABLE INITIALLY DEFERRED
)
 STRICT

;
INSERT INTO "journal" VALUES(1,1,'structure','[]',NULL,'{"structure":"Quillmere Pumping Station","asked":"Which zones of the engine house and the water tower to clean before the re-coating contract of 2027, by which method, and which to leave","surveyed_by":"conservator; engineer for the tower","survey_date":"2026-09-18","significance":"A granite engine house of 1887 and its riveted tower of 1889, whole with early coatings and a maker''s plate","licence":"CC0-1.0"}',X'0000000000000000000000000000000000000000000000000000000000000000');
INSERT INTO "journal" VALUES(2,1,'elevations','["north"]',NULL,'{"elevation":"north","name":"Quillmere Pumping Station, north front","drawing":"drawings/north.svg","width_m":20.6,"height_m":16.0}',X'6521B66B1E7CA36E1DE881E279C11F0FC6FDCB9A27C5C04EECC7E5DA7842CBCD');
INSERT INTO "journal" VALUES(3,1,'elevations','["east"]',NULL,'{"elevation":"east","name":"Quillmere Pumping Station, east flank","drawing":"drawings/east.svg","width_m":22.0,"height_m":16.3}',X'2BC5E8D3FA0CCF1487F189D7305CE7AC57262D129EF9D28E241C402893F26173');
INSERT INTO "journal" VALUES(4,1,'zones','["N06"]',NULL,'{"zone":"N06","elevation":"north","name":"Reveals and soffit of the great door","area_m2":3.17,"substrate":"granite","finish":"tooled","condition":"slightly_weathered","exposure":"sheltered","access":"scaffold","significance":"medium","significance_reason":"Part of the original ashlar, of a kind found elsewhere on the house","soilings":"black_gypsum_crust","biotite_pct":9.0,"bed_or_system":"grey granite, bed A","surveyed_on":"2026-09-08","surveyed_by":"conservator"}',X'AA8DB5FA903C4AD68C6F1B102A9FFDCDEB909807834EC2A21A609B2F6FB4B2D5');
INSERT INTO "journal" VALUES(5,1,'zones','["N15"]',NULL,'{"zone":"N15","elevation":"north","name":"Red spray paint on the plinth beside the door","area_m2":1.82,"substrate":"granite","finish":"rock_faced","condition":"sound","exposure":"rain_washed","access":"ground","significance":"medium","significance_reason":"Part of the original ashlar, of a kind found elsewhere on the house","soilings":"graffiti","biotite_pct":14.0,"bed_or_system":"dark granite, bed D","surveyed_on":"2026-09-08","surveyed_by":"conservator"}',X'75AF24A318C7DF3CB65F2185A7274053F3F3A1E2FE7C14255278DAC24CCA21BB');
INSERT INTO "journal" VALUES(6,1,'zones','["E15"]',NULL,'{"zone":"E15","elevation":"east","name":"Polished granite date panel","area_m2":0.8,"substrate":"granite_polished","finish":"polished","condition":"sound","exposure":"rain_washed","access":"ladder","significance":"high","significance_reason":"Incised date on the finest polish of the house","soilings":"general_soiling","biotite_pct":4.0,"bed_or_system":"polished granite, bed C","surveyed_on":"2026-09-08","surveyed_by":"conservator"}',X'1906E1887B26F1DF96EF0DEEA4637BE487354BE89C590347840E6ACA64378783');
INSERT INTO "journal" VALUES(7,1,'layers','["N06-L1"]',NULL,'{"layer":"N06-L1","zone":"N06","soiling":"black_gypsum_crust","cover_pct":55.0,"thickness_mm":0.1,"value":"not_valued"}',X'E2EEF9C6575FAA219E0B0D014DCB3FF4C055834DD366D21C18EE274FFC553383');
INSERT INTO "journal" VALUES(8,1,'layers','["N15-L1"]',NULL,'{"layer":"N15-L1","zone":"N15","soiling":"graffiti","cover_pct":70.0,"thickness_mm":0.05,"value":"not_valued","value_reason":"sprayed last winter"}',X'11D709780A105E99ABBC2CE27DBD342C786D0050D8E6E3900C10D912E3009037');
INSERT INTO "journal" VALUES(9,1,'layers','["E15-L1"]',NULL,'{"layer":"E15-L1","zone":"E15","soiling":"general_soiling","cover_pct":85.0,"thickness_mm":0.05,"value":"not_valued"}',X'4A3C6F32992DE317D96A466A57FB96E298DA3DBCA4CC371BFD509D9C6079E112');
INSERT INTO "journal" VALUES(10,10,'panels','["N15-pulse-1"]',NULL,'{"panel":"N15-pulse-1","zone":"N15","series":"N15-pulse","panels_in_series":2,"soiling":"graffiti","method":"laser_ns_1064","setting":"1.5 J/cm² peak, 10 ns, 10 Hz, spot 4 mm, dry, 8 pulses a spot, square on, energy and spot measured at the wall","done_on":"2026-05-11","read_on":"2026-09-07","winter_included":"no","control_kept":"yes","x50_fields":10,"x50_fields_weakest":10,"damaged_fields":9,"damaged_component":"biotite","residual_pct":10.0,"delta_b":1.0,"late_effects":"none","setting_unit":"J/cm² peak","cleaning_low":1.4,"cleaning_high":1.6,"damage_low":0.45,"damage_high":0.55,"read_by":"conservator","reader_blind":"yes","spots_laid":11,"passes":8,"wetted":"no"}',X'2B6EF3AAE0F102A3BD66D7753DBB5DDD6D9F770CA589D4FC0FC82815BA162488');
INSERT INTO "journal" VALUES(11,10,'panels','["N15-pulse-2"]',NULL,'{"panel":"N15-pulse-2","zone":"N15","series":"N15-pulse","panels_in_series":2,"soiling":"graffiti","method":"laser_ns_1064","setting":"1.5 J/cm² peak, 10 ns, 10 Hz, spot 4 mm, dry, 8 pulses a spot, square on, energy and spot measured at the wall","done_on":"2026-05-11","read_on":"2026-09-07","winter_included":"no","control_kept":"yes","x50_fields":10,"x50_fields_weakest":10,"damaged_fields":10,"damaged_component":"biotite","residual_pct":12.0,"delta_b":1.4,"late_effects":"none","setting_unit":"J/cm² peak","cleaning_low":1.4,"cleaning_high":1.6,"damage_low":0.45,"damage_high":0.55,"read_by":"conservator","reader_blind":"yes","spots_laid":0,"passes":8,"wetted":"no"}',X'B143354BC9313FFD7BEB297973267A2C174EBADBA358F908080887BBDB349C75');
INSERT INTO "journal" VALUES(12,10,'panels','["E15-wash-1"]',NULL,'{"panel":"E15-wash-1","zone":"E15","series":"E15-wash","panels_in_series":3,"soiling":"general_soiling","method":"low_pressure_water","setting":"9 bar at the nozzle, fan 40°, 250 mm from the wall, 6 L/min, cold, two passes, non-ionic detergent without phosphate","done_on":"2025-08-11","read_on":"2026-09-07","winter_included":"yes","control_kept":"yes","x50_fields":10,"damaged_fields":0,"residual_pct":5.0,"delta_b":-0.4,"late_effects":"none","setting_unit":"bar","cleaning_low":8.0,"cleaning_high":10.0,"damage_low":28.0,"read_by":"conservator","reader_blind":"yes","spots_laid":0}',X'FA828B6EB4D0D56EF8C0163FEB40A6FAEC3A25D36808AB484026FDF15768F857');
INSERT INTO "journal" VALUES(13,10,'panels','["E15-wash-2"]',NULL,'{"panel":"E15-wash-2","zone":"E15","series":"E15-wash","panels_in_series":3,"soiling":"general_soiling","method":"low_pressure_water","setting":"9 bar at the nozzle, fan 40°, 250 mm from the wall, 6 L/min, cold, two passes, non-ionic detergent without phosphate","done_on":"2025-08-11","read_on":"2026-09-07","winter_included":"yes","control_kept":"yes","x50_fields":10,"damaged_fields":0,"residual_pct":5.0,"delta_b":-0.2,"late_effects":"none","setting_unit":"bar","cleaning_low":8.0,"cleaning_high":10.0,"damage_low":28.0,"read_by":"conservator","reader_blind":"yes","spots_laid":0}',X'B12BF3ABA118F1ED111B5E7194F13D521CA55BF15911F60CE86F7C5919F1CF35');
INSERT INTO "journal" VALUES(14,10,'panels','["E15-wash-3"]',NULL,'{"panel":"E15-wash-3","zone":"E15","series":"E15-wash","panels_in_series":3,"soiling":"general_soiling","method":"low_pressure_water","setting":"9 bar at the nozzle, fan 40°, 250 mm from the wall, 6 L/min, cold, two passes, non-ionic detergent without phosphate","done_on":"2025-08-11","read_on":"2026-09-07","winter_included":"yes","control_kept":"yes","x50_fields":10,"damaged_fields":0,"residual_pct":8.0,"delta_b":-0.5,"late_effects":"none","setting_unit":"bar","cleaning_low":8.0,"cleaning_high":10.0,"damage_low":28.0,"read_by":"conservator","reader_blind":"yes","spots_laid":0}',X'0D479ED8EFF7FAF09C80A6C551BFE5E393C5D27C3DAD9F720D2608A5A9607518');
INSERT INTO "journal" VALUES(15,10,'spots','["N15-pulse-1-S01"]',NULL,'{"spot":"N15-pulse-1-S01","panel":"N15-pulse-1","zone":"N15","spots_on_panel":11,"dose":0.2,"dose_unit":"J/cm² peak","passes":8,"cleaned":"no","damaged":"no","read_on":"2026-09-07","read_by":"conservator, blind to the setting","component":"biotite","wetted":"no"}',X'439B1EED8B228DA82F91F1A428650BA162B8BEF4E7944DE27D83F3AA62DC6F49');
INSERT INTO "journal" VALUES(16,10,'spots','["N15-pulse-1-S02"]',NULL,'{"spot":"N15-pulse-1-S02","panel":"N15-pulse-1","zone":"N15","spots_on_panel":11,"dose":0.35,"dose_unit":"J/cm² peak","passes":8,"cleaned":"no","damaged":"no","read_on":"2026-09-07","read_by":"conservator, blind to the setting","component":"biotite","wetted":"no"}',X'9845C3EA9789F1F405599C1ED427B398EAC1C81CDDC541AE7AE13FA68F10B329');
INSERT INTO "journal" VALUES(17,10,'spots','["N15-pulse-1-S03"]',NULL,'{"spot":"N15-pulse-1-S03","panel":"N15-pulse-1","zone":"N15","spots_on_panel":11,"dose":0.45,"dose_unit":"J/cm² peak","passes":8,"cleaned":"no","damaged":"yes","damaged_component":"biotite","read_on":"2026-09-07","read_by":"conservator, blind to the setting","component":"biotite","wetted":"no"}',X'A6ECA656AA70E1C64C1D6855A62E63B295A08E38453C928260B372EC81912D6F');
INSERT INTO "journal" VALUES(18,10,'spots','["N15-pulse-1-S04"]',NULL,'{"spot":"N15-pulse-1-S04","panel":"N15-pulse-1","zone":"N15","spots_on_panel":11,"dose":0.5,"dose_unit":"J/cm² peak","passes":8,"cleaned":"no","damaged":"no","read_on":"2026-09-07","read_by":"conservator, blind to the setting","component":"biotite","wetted":"no"}',X'C68882D59DD55056D12AA1E9DDD7CA3C24964F9E76A25DEB362942B7AB7F3F9C');
INSERT INTO "journal" VALUES(19,10,'spots','["N15-pulse-1-S05"]',NULL,'{"spot":"N15-pulse-1-S05","panel":"N15-pulse-1","zone":"N15","spots_on_panel":11,"dose":0.55,"dose_unit":"J/cm² peak","passes":8,"cleaned":"no","damaged":"yes","damaged_component":"biotite","read_on":"2026-09-07","read_by":"conservator, blind to the setting","component":"biotite","wetted":"no"}',X'48080216CF0DC3DA6145A7B1960B85C13D820CCEF4C9CE4F19A2651E232B4186');
INSERT INTO "journal" VALUES(20,10,'spots','["N15-pulse-1-S06"]',NULL,'{"spot":"N15-pulse-1-S06","panel":"N15-pulse-1","zone":"N15","spots_on_panel":11,"dose":0.7,"dose_unit":"J/cm² peak","passes":8,"cleaned":"no","damaged":"yes","damaged_component":"biotite","read_on":"2026-09-07","read_by":"conservator, blind to the setting","component":"biotite","wetted":"no"}',X'D88F7B508478BBCC21E506194549421BAF52282682102459B31D4E04E3FAF178');
INSERT INTO "journal" VALUES(21,10,'spots','["N15-pulse-1-S07"]',NULL,'{"spot":"N15-pulse-1-S07","panel":"N15-pulse-1","zone":"N15","spots_on_panel":11,"dose":1.0,"dose_unit":"J/cm² peak","passes":8,"cleaned":"no","damaged":"yes","damaged_component":"biotite","read_on":"2026-09-07","read_by":"conservator, blind to the setting","component":"biotite","wetted":"no"}',X'2011CF08ADB404FF4A7BEC0D6DA216E267C01356D240248EF60B645943F880D0');
INSERT INTO "journal" VALUES(22,10,'spots','["N15-pulse-1-S08"]',NULL,'{"spot":"N15-pulse-1-S08","panel":"N15-pulse-1","zone":"N15","spots_on_panel":11,"dose":1.4,"dose_unit":"J/cm² peak","passes":8,"cleaned":"yes","damaged":"yes","damaged_component":"biotite","read_on":"2026-09-07","read_by":"conservator, blind to the setting","component":"biotite","wetted":"no"}',X'CD1E71E0D275235DDD0069BAA745F5DFE349EBE24ED50CFBC130600E9BE69CCC');
INSERT INTO "journal" VALUES(23,10,'spots','["N15-pulse-1-S09"]',NULL,'{"spot":"N15-pulse-1-S09","panel":"N15-pulse-1","zone":"N15","spots_on_panel":11,"dose":1.5,"dose_unit":"J/cm² peak","passes":8,"cleaned":"no","damaged":"yes","damaged_component":"biotite","read_on":"2026-09-07","read_by":"conservator, blind to the setting","component":"biotite","wetted":"no"}',X'2D3EEDE29DB2E693BFB346C29E3D842FD4B1D267B42FDFFBEA7223E7070B6395');
INSERT INTO "journal" VALUES(24,10,'spots','["N15-pulse-1-S10"]',NULL,'{"spot":"N15-pulse-1-S10","panel":"N15-pulse-1","zone":"N15","spots_on_panel":11,"dose":1.6,"dose_unit":"J/cm² peak","passes":8,"cleaned":"yes","damaged":"yes","damaged_component":"biotite","read_on":"2026-09-07","read_by":"conservator, blind to the setting","component":"biotite","wetted":"no"}',X'5A0817E76D48E74A72BA1FCBC0AE4682B9718322909E7B821D97FEEFF76A6013');
INSERT INTO "journal" VALUES(25,10,'spots','["N15-pulse-1-S11"]',NULL,'{"spot":"N15-pulse-1-S11","panel":"N15-pulse-1","zone":"N15","spots_on_panel":11,"dose":1.8,"dose_unit":"J/cm² peak","passes":8,"cleaned":"yes","damaged":"yes","damaged_component":"biotite","read_on":"2026-09-07","read_by":"conservator, blind to the setting","component":"biotite","wetted":"no"}',X'2292C442F0B0D267DD5FC5919146A97C9850CF44332B28278F0671D1BD130B4D');
INSERT INTO "journal" VALUES(26,26,'panels','["doubt-1"]',NULL,'{"panel":"doubt-1","zone":"N06","series":"doubt","panels_in_series":1,"soiling":"black_gypsum_crust","method":"laser_ns_1064","setting":"1.5 J/cm2, 10 ns, 10 Hz","done_on":"2026-03-16","read_on":"2026-09-07","setting_unit":"J/cm2","cleaning_low":1.4,"cleaning_high":1.6}',X'5849B59488000437C08A20F9B16D904B9A2DEBAD88BC671AC2FE3EB639694E69');
INSERT INTO "journal" VALUES(27,26,'panels','["clicks-1"]',NULL,'{"panel":"clicks-1","zone":"N06","series":"clicks","panels_in_series":1,"soiling":"black_gypsum_crust","method":"micro_abrasive_dry","setting":"dial at 3 clicks, calcite, 2,5 bar?","done_on":"2026-03-16","read_on":"2026-09-07","setting_unit":"clicks","cleaning_low":3.0,"cleaning_high":3.0,"note":"a note"}',X'415E44F8AFBD086866B1C4041BA6E804D2F68453ABF5B1EFAF7E5EEDB8B342D1');
INSERT INTO "journal" VALUES(28,26,'panels','["gone-1"]',NULL,'{"panel":"gone-1","zone":"N06","series":"gone","panels_in_series":1,"soiling":"black_gypsum_crust","method":"micro_abrasive_dry","setting":"40 psi, garnet","done_on":"2026-03-16","read_on":"2026-09-07","setting_unit":"psi","cleaning_low":38.0,"cleaning_high":40.0}',X'248CCEBAA674C9A2D7C095F0310F98529C5A04E10442E155D223A1E9F65A13A1');
INSERT INTO "journal" VALUES(29,26,'panels','["plain-1"]',NULL,'{"panel":"plain-1","zone":"N06","series":"plain","panels_in_series":1,"soiling":"black_gypsum_crust","method":"low_pressure_water","setting":"low pressure","done_on":"2026-03-16","read_on":"2026-09-07"}',X'D46A56F19EEB9F9C71882B63D25519AA307BB43294593CCF9ECB04A0ED2A6778');
INSERT INTO "journal" VALUES(30,30,'panels','["plain-1"]','{"panel":"plain-1","zone":"N06","series":"plain","panels_in_series":1,"soiling":"black_gypsum_crust","method":"low_pressure_water","setting":"low pressure","done_on":"2026-03-16","read_on":"2026-09-07"}','{"panel":"plain-1","zone":"N06","series":"plain","panels_in_series":1,"soiling":"black_gypsum_crust","method":"low_pressure_water","setting":"low pressure","done_on":"2026-03-16","read_on":"2026-09-07","setting_unit":"Bar","cleaning_low":8.0,"cleaning_high":9.0}',X'7D65F41A5E99C8B735D494963DC63EE0B1B158CE7173690C070617A9A3B64C82');
INSERT INTO "journal" VALUES(31,31,'panels','["plain-1"]','{"panel":"plain-1","zone":"N06","series":"plain","panels_in_series":1,"soiling":"black_gypsum_crust","method":"low_pressure_water","setting":"low pressure","done_on":"2026-03-16","read_on":"2026-09-07","setting_unit":"Bar","cleaning_low":8.0,"cleaning_high":9.0}','{"panel":"plain-1","zone":"N06","series":"plain","panels_in_series":1,"soiling":"black_gypsum_crust","method":"low_pressure_water","setting":"low pressure","done_on":"2026-03-16","read_on":"2026-09-07"}',X'549F4F1DEF26C518B335778B17DBDA94C90AB488DD63B10A80457F4BCA944170');
INSERT INTO "journal" VALUES(32,32,'panels','["gone-1"]','{"panel":"gone-1","zone":"N06","series":"gone","panels_in_series":1,"soiling":"black_gypsum_crust","method":"micro_abrasive_dry","setting":"40 psi, garnet","done_on":"2026-03-16","read_on":"2026-09-07","setting_unit":"psi","cleaning_low":38.0,"cleaning_high":40.0}',NULL,X'AD5348A75FBA44F58377E252AD022D31C47181F854A564B2951457465277F49D');
CREATE TABLE layers (
	first_entry INTEGER NOT NULL, 
	last_entry INTEGER NOT NULL, 
	deleted INTEGER NOT NULL, 
	layer TEXT NOT NULL, 
	zone TEXT NOT NULL, 
	soiling TEXT NOT NULL, 
	cover_pct REAL, 
	thickness_mm REAL, 
	value TEXT NOT NULL, 
	value_reason TEXT, 
	CONSTRAINT pk_layers PRIMARY KEY (first_entry), 
	CONSTRAINT uq_layers UNIQUE (layer), 
	CONSTRAINT fk_layers_zone FOREIGN KEY(zone) REFERENCES zones (zone) DEFERRABLE INITIALLY DEFERRED
)
 STRICT

;
INSERT INTO "layers" VALUES(7,7,0,'N06-L1','N06','black_gypsum_crust',55.0,0.1,'not_valued',NULL);
INSERT INTO "layers" VALUES(8,8,0,'N15-L1','N15','graffiti',70.0,0.05,'not_valued','sprayed last winter');
INSERT INTO "layers" VALUES(9,9,0,'E15-L1','E15','general_soiling',85.0,0.05,'not_valued',NULL);
CREATE TABLE observations (
	first_entry INTEGER NOT NULL, 
	last_entry INTEGER NOT NULL, 
	deleted INTEGER NOT NULL, 
	observation TEXT NOT NULL, 
	zone TEXT NOT NULL, 
	topic TEXT NOT NULL, 
	finding TEXT, 
	not_recorded_because TEXT, 
	owner TEXT, 
	due TEXT, 
	seen_on TEXT NOT NULL, 
	seen_by TEXT NOT NULL, 
	note TEXT, 
	CONSTRAINT pk_observations PRIMARY KEY (first_entry), 
	CONSTRAINT uq_observations UNIQUE (observation), 
	CONSTRAINT fk_observations_zone FOREIGN KEY(zone) REFERENCES zones (zone) DEFERRABLE INITIALLY DEFERRED
)
 STRICT

;
CREATE TABLE panels (
	first_entry INTEGER NOT NULL, 
	last_entry INTEGER NOT NULL, 
	deleted INTEGER NOT NULL, 
	panel TEXT NOT NULL, 
	zone TEXT NOT NULL, 
	series TEXT NOT NULL, 
	panels_in_series INTEGER NOT NULL, 
	soiling TEXT NOT NULL, 
	method TEXT NOT NULL, 
	setting TEXT NOT NULL, 
	done_on TEXT NOT NULL, 
	read_on TEXT, 
	not_read_because TEXT, 
	winter_included TEXT, 
	control_kept TEXT, 
	x50_fields INTEGER, 
	x50_fields_weakest INTEGER, 
	damaged_fields INTEGER, 
	damaged_component TEXT, 
	residual_pct REAL, 
	delta_b REAL, 
	late_effects TEXT, 
	setting_unit TEXT, 
	cleaning_low REAL, 
	cleaning_high REAL, 
	damage_low REAL, 
	damage_high REAL, 
	grade_reached TEXT, 
	required_adhesion_mpa REAL, 
	required_profile_low_um REAL, 
	required_profile_high_um REAL, 
	read_by TEXT, 
	note TEXT, spots_laid INTEGER, reader_blind TEXT, passes INTEGER, wetted TEXT, 
	CONSTRAINT pk_panels PRIMARY KEY (first_entry), 
	CONSTRAINT uq_panels UNIQUE (panel), 
	CONSTRAINT fk_panels_zone FOREIGN KEY(zone) REFERENCES zones (zone) DEFERRABLE INITIALLY DEFERRED
)
 STRICT

;
INSERT INTO "panels" VALUES(10,10,0,'N15-pulse-1','N15','N15-pulse',2,'graffiti','laser_ns_1064','1.5 J/cm² peak, 10 ns, 10 Hz, spot 4 mm, dry, 8 pulses a spot, square on, energy and spot measured at the wall','2026-05-11','2026-09-07',NULL,'no','yes',10,10,9,'biotite',10.0,1.0,'none','J/cm² peak',1.4,1.6,0.45,0.55,NULL,NULL,NULL,NULL,'conservator',NULL,11,'yes',8,'no');
INSERT INTO "panels" VALUES(11,11,0,'N15-pulse-2','N15','N15-pulse',2,'graffiti','laser_ns_1064','1.5 J/cm² peak, 10 ns, 10 Hz, spot 4 mm, dry, 8 pulses a spot, square on, energy and spot measured at the wall','2026-05-11','2026-09-07',NULL,'no','yes',10,10,10,'biotite',12.0,1.4,'none','J/cm² peak',1.4,1.6,0.45,0.55,NULL,NULL,NULL,NULL,'conservator',NULL,0,'yes',8,'no');
INSERT INTO "panels" VALUES(12,12,0,'E15-wash-1','E15','E15-wash',3,'general_soiling','low_pressure_water','9 bar at the nozzle, fan 40°, 250 mm from the wall, 6 L/min, cold, two passes, non-ionic detergent without phosphate','2025-08-11','2026-09-07',NULL,'yes','yes',10,NULL,0,NULL,5.0,-0.4,'none','bar',8.0,10.0,28.0,NULL,NULL,NULL,NULL,NULL,'conservator',NULL,0,'yes',NULL,NULL);
INSERT INTO "panels" VALUES(13,13,0,'E15-wash-2','E15','E15-wash',3,'general_soiling','low_pressure_water','9 bar at the nozzle, fan 40°, 250 mm from the wall, 6 L/min, cold, two passes, non-ionic detergent without phosphate','2025-08-11','2026-09-07',NULL,'yes','yes',10,NULL,0,NULL,5.0,-0.2,'none','bar',8.0,10.0,28.0,NULL,NULL,NULL,NULL,NULL,'conservator',NULL,0,'yes',NULL,NULL);
INSERT INTO "panels" VALUES(14,14,0,'E15-wash-3','E15','E15-wash',3,'general_soiling','low_pressure_water','9 bar at the nozzle, fan 40°, 250 mm from the wall, 6 L/min, cold, two passes, non-ionic detergent without phosphate','2025-08-11','2026-09-07',NULL,'yes','yes',10,NULL,0,NULL,8.0,-0.5,'none','bar',8.0,10.0,28.0,NULL,NULL,NULL,NULL,NULL,'conservator',NULL,0,'yes',NULL,NULL);
INSERT INTO "panels" VALUES(26,26,0,'doubt-1','N06','doubt',1,'black_gypsum_crust','laser_ns_1064','1.5 J/cm2, 10 ns, 10 Hz','2026-03-16','2026-09-07',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'J/cm2',1.4,1.6,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "panels" VALUES(27,27,0,'clicks-1','N06','clicks',1,'black_gypsum_crust','micro_abrasive_dry','dial at 3 clicks, calcite, 2,5 bar?','2026-03-16','2026-09-07',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'clicks',3.0,3.0,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'a note',NULL,NULL,NULL,NULL);
INSERT INTO "panels" VALUES(28,32,1,'gone-1','N06','gone',1,'black_gypsum_crust','micro_abrasive_dry','40 psi, garnet','2026-03-16','2026-09-07',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'psi',38.0,40.0,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "panels" VALUES(29,31,0,'plain-1','N06','plain',1,'black_gypsum_crust','low_pressure_water','low pressure','2026-03-16','2026-09-07',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
CREATE TABLE photos (
	first_entry INTEGER NOT NULL, 
	last_entry INTEGER NOT NULL, 
	deleted INTEGER NOT NULL, 
	photo TEXT NOT NULL, 
	attachment TEXT NOT NULL, 
	zone TEXT NOT NULL, 
	state TEXT NOT NULL, 
	points TEXT NOT NULL, 
	clean_stone TEXT, 
	chart_corners TEXT, 
	board TEXT, 
	taken_on TEXT NOT NULL, 
	taken_by TEXT NOT NULL, 
	chart_error REAL, 
	"error_L" REAL, 
	error_a REAL, 
	error_b REAL, 
	note TEXT, 
	CONSTRAINT pk_photos PRIMARY KEY (first_entry), 
	CONSTRAINT uq_photos UNIQUE (photo), 
	CONSTRAINT fk_photos_attachment FOREIGN KEY(attachment) REFERENCES attachments (attachment) DEFERRABLE INITIALLY DEFERRED, 
	CONSTRAINT fk_photos_zone FOREIGN KEY(zone) REFERENCES zones (zone) DEFERRABLE INITIALLY DEFERRED, 
	CONSTRAINT fk_photos_board FOREIGN KEY(board) REFERENCES attachments (attachment) DEFERRABLE INITIALLY DEFERRED
)
 STRICT

;
CREATE TABLE policy (
	first_entry INTEGER NOT NULL, 
	last_entry INTEGER NOT NULL, 
	deleted INTEGER NOT NULL, 
	alpha REAL NOT NULL, 
	agreed_share REAL NOT NULL, 
	fabric_cap_high REAL NOT NULL, 
	fabric_cap_medium REAL NOT NULL, 
	fabric_cap_low REAL NOT NULL, 
	margin REAL NOT NULL, 
	margin_high REAL NOT NULL, 
	damage_limit REAL NOT NULL, 
	horizon_years REAL NOT NULL, 
	power INTEGER NOT NULL, 
	agreed_on TEXT NOT NULL, 
	CONSTRAINT pk_policy PRIMARY KEY (first_entry)
)
 STRICT

;
CREATE TABLE "readings" (
	first_entry INTEGER NOT NULL, 
	last_entry INTEGER NOT NULL, 
	deleted INTEGER NOT NULL, 
	reading TEXT NOT NULL, 
	zone TEXT NOT NULL, 
	set_name TEXT NOT NULL, 
	set_size INTEGER NOT NULL, 
	target TEXT NOT NULL, 
	panel TEXT, 
	"L_star" REAL, 
	a_star REAL, 
	b_star REAL, 
	state TEXT NOT NULL, 
	geometry TEXT NOT NULL, 
	aperture_mm REAL, 
	illuminant TEXT NOT NULL, 
	instrument TEXT NOT NULL, 
	read_on TEXT NOT NULL, 
	read_by TEXT NOT NULL, 
	not_measured_because TEXT, 
	munsell TEXT, 
	session TEXT, 
	file TEXT, 
	photo TEXT, 
	CONSTRAINT pk_readings PRIMARY KEY (first_entry), 
	CONSTRAINT fk_readings_file FOREIGN KEY(file) REFERENCES attachments (attachment) DEFERRABLE INITIALLY DEFERRED, 
	CONSTRAINT uq_readings UNIQUE (reading), 
	CONSTRAINT fk_readings_panel FOREIGN KEY(panel) REFERENCES panels (panel) DEFERRABLE INITIALLY DEFERRED, 
	CONSTRAINT fk_readings_zone FOREIGN KEY(zone) REFERENCES zones (zone) DEFERRABLE INITIALLY DEFERRED, 
	CONSTRAINT fk_readings_photo FOREIGN KEY(photo) REFERENCES photos (photo) DEFERRABLE INITIALLY DEFERRED
)
 STRICT

;
CREATE TABLE saves (
	save INTEGER NOT NULL, 
	made_at TEXT NOT NULL, 
	who TEXT NOT NULL, 
	reason TEXT NOT NULL, 
	action TEXT NOT NULL, 
	of_save INTEGER, 
	CONSTRAINT pk_saves PRIMARY KEY (save)
)
 STRICT

;
INSERT INTO "saves" VALUES(1,'2026-11-29T16:38:37.617+00:00','conservator','first day','save',NULL);
INSERT INTO "saves" VALUES(10,'2026-11-29T16:38:38.217+00:00','conservator','trials','save',NULL);
INSERT INTO "saves" VALUES(26,'2026-11-29T16:38:38.509+00:00','conservator','more trials','save',NULL);
INSERT INTO "saves" VALUES(30,'2026-11-29T16:38:38.701+00:00','engineer','read off the pump','save',NULL);
INSERT INTO "saves" VALUES(31,'2026-11-29T16:38:38.869+00:00','engineer','it was another pump','save',NULL);
INSERT INTO "saves" VALUES(32,'2026-11-29T16:38:39.066+00:00','conservator','laid on the wrong zone','save',NULL);
CREATE TABLE site_tests (
	first_entry INTEGER NOT NULL, 
	last_entry INTEGER NOT NULL, 
	deleted INTEGER NOT NULL, 
	site_test TEXT NOT NULL, 
	zone TEXT NOT NULL, 
	panel TEXT, 
	quantity TEXT NOT NULL, 
	value REAL, 
	spread REAL, 
	set_name TEXT NOT NULL, 
	set_size INTEGER NOT NULL, 
	method TEXT NOT NULL, 
	tested_on TEXT NOT NULL, 
	tested_by TEXT NOT NULL, 
	not_measured_because TEXT, 
	CONSTRAINT pk_site_tests PRIMARY KEY (first_entry), 
	CONSTRAINT uq_site_tests UNIQUE (site_test), 
	CONSTRAINT fk_site_tests_zone FOREIGN KEY(zone) REFERENCES zones (zone) DEFERRABLE INITIALLY DEFERRED, 
	CONSTRAINT fk_site_tests_panel FOREIGN KEY(panel) REFERENCES panels (panel) DEFERRABLE INITIALLY DEFERRED
)
 STRICT

;
CREATE TABLE spots (
	first_entry INTEGER NOT NULL, 
	last_entry INTEGER NOT NULL, 
	deleted INTEGER NOT NULL, 
	spot TEXT NOT NULL, 
	panel TEXT NOT NULL, 
	zone TEXT NOT NULL, 
	spots_on_panel INTEGER NOT NULL, 
	dose REAL, 
	dose_unit TEXT, 
	passes INTEGER, 
	cleaned TEXT, 
	damaged TEXT, 
	damaged_component TEXT, 
	read_on TEXT, 
	read_by TEXT, 
	not_read_because TEXT, component TEXT, wetted TEXT, 
	CONSTRAINT pk_spots PRIMARY KEY (first_entry), 
	CONSTRAINT uq_spots UNIQUE (spot), 
	CONSTRAINT fk_spots_panel FOREIGN KEY(panel) REFERENCES panels (panel) DEFERRABLE INITIALLY DEFERRED, 
	CONSTRAINT fk_spots_zone FOREIGN KEY(zone) REFERENCES zones (zone) DEFERRABLE INITIALLY DEFERRED
)
 STRICT

;
INSERT INTO "spots" VALUES(15,15,0,'N15-pulse-1-S01','N15-pulse-1','N15',11,0.2,'J/cm² peak',8,'no','no',NULL,'2026-09-07','conservator, blind to the setting',NULL,'biotite','no');
INSERT INTO "spots" VALUES(16,16,0,'N15-pulse-1-S02','N15-pulse-1','N15',11,0.35,'J/cm² peak',8,'no','no',NULL,'2026-09-07','conservator, blind to the setting',NULL,'biotite','no');
INSERT INTO "spots" VALUES(17,17,0,'N15-pulse-1-S03','N15-pulse-1','N15',11,0.45,'J/cm² peak',8,'no','yes','biotite','2026-09-07','conservator, blind to the setting',NULL,'biotite','no');
INSERT INTO "spots" VALUES(18,18,0,'N15-pulse-1-S04','N15-pulse-1','N15',11,0.5,'J/cm² peak',8,'no','no',NULL,'2026-09-07','conservator, blind to the setting',NULL,'biotite','no');
INSERT INTO "spots" VALUES(19,19,0,'N15-pulse-1-S05','N15-pulse-1','N15',11,0.55,'J/cm² peak',8,'no','yes','biotite','2026-09-07','conservator, blind to the setting',NULL,'biotite','no');
INSERT INTO "spots" VALUES(20,20,0,'N15-pulse-1-S06','N15-pulse-1','N15',11,0.7,'J/cm² peak',8,'no','yes','biotite','2026-09-07','conservator, blind to the setting',NULL,'biotite','no');
INSERT INTO "spots" VALUES(21,21,0,'N15-pulse-1-S07','N15-pulse-1','N15',11,1.0,'J/cm² peak',8,'no','yes','biotite','2026-09-07','conservator, blind to the setting',NULL,'biotite','no');
INSERT INTO "spots" VALUES(22,22,0,'N15-pulse-1-S08','N15-pulse-1','N15',11,1.4,'J/cm² peak',8,'yes','yes','biotite','2026-09-07','conservator, blind to the setting',NULL,'biotite','no');
INSERT INTO "spots" VALUES(23,23,0,'N15-pulse-1-S09','N15-pulse-1','N15',11,1.5,'J/cm² peak',8,'no','yes','biotite','2026-09-07','conservator, blind to the setting',NULL,'biotite','no');
INSERT INTO "spots" VALUES(24,24,0,'N15-pulse-1-S10','N15-pulse-1','N15',11,1.6,'J/cm² peak',8,'yes','yes','biotite','2026-09-07','conservator, blind to the setting',NULL,'biotite','no');
INSERT INTO "spots" VALUES(25,25,0,'N15-pulse-1-S11','N15-pulse-1','N15',11,1.8,'J/cm² peak',8,'yes','yes','biotite','2026-09-07','conservator, blind to the setting',NULL,'biotite','no');
CREATE TABLE structure (
	first_entry INTEGER NOT NULL, 
	last_entry INTEGER NOT NULL, 
	deleted INTEGER NOT NULL, 
	structure TEXT NOT NULL, 
	asked TEXT NOT NULL, 
	surveyed_by TEXT NOT NULL, 
	survey_date TEXT NOT NULL, 
	significance TEXT NOT NULL, licence TEXT, 
	CONSTRAINT pk_structure PRIMARY KEY (first_entry)
)
 STRICT

;
INSERT INTO "structure" VALUES(1,1,0,'Quillmere Pumping Station','Which zones of the engine house and the water tower to clean before the re-coating contract of 2027, by which method, and which to leave','conservator; engineer for the tower','2026-09-18','A granite engine house of 1887 and its riveted tower of 1889, whole with early coatings and a maker''s plate','CC0-1.0');
CREATE TABLE tile_readings (
	first_entry INTEGER NOT NULL, 
	last_entry INTEGER NOT NULL, 
	deleted INTEGER NOT NULL, 
	tile_reading TEXT NOT NULL, 
	session TEXT NOT NULL, 
	tile_readings_in_session INTEGER NOT NULL, 
	minutes REAL NOT NULL, 
	"L_star" REAL NOT NULL, 
	a_star REAL NOT NULL, 
	b_star REAL NOT NULL, 
	instrument TEXT NOT NULL, 
	read_on TEXT NOT NULL, 
	read_by TEXT NOT NULL, 
	CONSTRAINT pk_tile_readings PRIMARY KEY (first_entry), 
	CONSTRAINT uq_tile_readings UNIQUE (tile_reading)
)
 STRICT

;
CREATE TABLE views (
	first_entry INTEGER NOT NULL, 
	last_entry INTEGER NOT NULL, 
	deleted INTEGER NOT NULL, 
	member TEXT NOT NULL, 
	criterion TEXT NOT NULL, 
	swing REAL NOT NULL, 
	CONSTRAINT pk_views PRIMARY KEY (first_entry), 
	CONSTRAINT uq_views UNIQUE (member, criterion)
)
 STRICT

;
CREATE TABLE zones (
	first_entry INTEGER NOT NULL, 
	last_entry INTEGER NOT NULL, 
	deleted INTEGER NOT NULL, 
	zone TEXT NOT NULL, 
	elevation TEXT NOT NULL, 
	name TEXT NOT NULL, 
	area_m2 REAL NOT NULL, 
	substrate TEXT NOT NULL, 
	finish TEXT NOT NULL, 
	condition TEXT NOT NULL, 
	exposure TEXT NOT NULL, 
	access TEXT NOT NULL, 
	significance TEXT NOT NULL, 
	significance_reason TEXT NOT NULL, 
	soilings TEXT NOT NULL, 
	biotite_pct REAL, 
	bed_or_system TEXT, 
	panels_laid INTEGER, 
	next_access TEXT, 
	surveyed_on TEXT NOT NULL, 
	surveyed_by TEXT NOT NULL, 
	note TEXT, colour_sets INTEGER, 
	CONSTRAINT pk_zones PRIMARY KEY (first_entry), 
	CONSTRAINT uq_zones UNIQUE (zone), 
	CONSTRAINT fk_zones_elevation FOREIGN KEY(elevation) REFERENCES elevations (elevation) DEFERRABLE INITIALLY DEFERRED
)
 STRICT

;
INSERT INTO "zones" VALUES(4,4,0,'N06','north','Reveals and soffit of the great door',3.17,'granite','tooled','slightly_weathered','sheltered','scaffold','medium','Part of the original ashlar, of a kind found elsewhere on the house','black_gypsum_crust',9.0,'grey granite, bed A',NULL,NULL,'2026-09-08','conservator',NULL,NULL);
INSERT INTO "zones" VALUES(5,5,0,'N15','north','Red spray paint on the plinth beside the door',1.82,'granite','rock_faced','sound','rain_washed','ground','medium','Part of the original ashlar, of a kind found elsewhere on the house','graffiti',14.0,'dark granite, bed D',NULL,NULL,'2026-09-08','conservator',NULL,NULL);
INSERT INTO "zones" VALUES(6,6,0,'E15','east','Polished granite date panel',0.8,'granite_polished','polished','sound','rain_washed','ladder','high','Incised date on the finest polish of the house','general_soiling',4.0,'polished granite, bed C',NULL,NULL,'2026-09-08','conservator',NULL,NULL);
CREATE INDEX ix_layers_zone ON layers (zone);
CREATE INDEX ix_observations_zone ON observations (zone);
CREATE INDEX ix_site_tests_zone ON site_tests (zone);
CREATE INDEX ix_site_tests_set_name ON site_tests (set_name);
CREATE INDEX ix_panels_zone ON panels (zone);
CREATE INDEX ix_panels_series ON panels (series);
CREATE TRIGGER journal_no_update BEFORE UPDATE ON journal BEGIN SELECT RAISE(ABORT, 'the journal is only ever added to'); END;
CREATE TRIGGER journal_no_delete BEFORE DELETE ON journal BEGIN SELECT RAISE(ABORT, 'the journal is only ever added to'); END;
CREATE TRIGGER saves_no_update BEFORE UPDATE ON saves BEGIN SELECT RAISE(ABORT, 'the journal is only ever added to'); END;
CREATE TRIGGER saves_no_delete BEFORE DELETE ON saves BEGIN SELECT RAISE(ABORT, 'the journal is only ever added to'); END;
CREATE INDEX ix_spots_panel ON spots (panel);
CREATE INDEX ix_spots_zone ON spots (zone);
CREATE INDEX ix_attachments_zone ON attachments (zone);
CREATE INDEX ix_attachments_file ON attachments (file);
CREATE INDEX ix_height_maps_zone ON height_maps (zone);
CREATE INDEX ix_tile_readings_session ON tile_readings (session);
CREATE INDEX ix_photos_zone ON photos (zone);
CREATE INDEX ix_readings_session ON readings (session);
CREATE INDEX ix_readings_zone ON readings (zone);
CREATE INDEX ix_readings_set_name ON readings (set_name);
COMMIT;
