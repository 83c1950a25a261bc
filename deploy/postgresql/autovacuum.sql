-- When PostgreSQL cleans up which table, for a store of some 100,000 lawns and more. Apply once, after
-- `mowalert init-store`, and again after an update; it takes a moment and locks nobody out:
--
--     psql -d mowalert -f deploy/postgresql/autovacuum.sql
--
-- The server's defaults wait until a fifth of a table is dead. Here that would be hundreds of thousands of rows,
-- cleaned up at once while a night runs. Numbers are working values; `n_dead_tup` in `pg_stat_user_tables` shows
-- whether they fit.

-- Every row is replaced once a night, whole and with its curve. Room in each page lets the new one stay in the page
-- of the old one, and a fiftieth dead is cleaned up before the next night.
ALTER TABLE stand_growth SET (
    fillfactor = 70,
    autovacuum_vacuum_scale_factor = 0.02,
    autovacuum_analyze_scale_factor = 0.05
);
ALTER TABLE cell_ensemble SET (autovacuum_vacuum_scale_factor = 0.02);

-- The search of due lawns reads an index alone, and only where the table's pages are known to be all visible: what
-- a night changes (who was told what, new anchors) has to be marked so again soon. Room keeps changes of a lawn
-- that no index holds in its page.
ALTER TABLE lawn SET (
    fillfactor = 85,
    autovacuum_vacuum_scale_factor = 0.01,
    autovacuum_vacuum_insert_scale_factor = 0.02,
    autovacuum_analyze_scale_factor = 0.02
);

-- A message changes its state twice or three times within minutes, and the index of waiting messages with it.
-- Its share of the table gets smaller from month to month, so that only a number says when to clean up.
ALTER TABLE outbox SET (
    fillfactor = 85,
    autovacuum_vacuum_scale_factor = 0,
    autovacuum_vacuum_threshold = 20000,
    autovacuum_vacuum_insert_scale_factor = 0.02,
    autovacuum_analyze_scale_factor = 0.02
);

-- Days of weather are replaced for two weeks and then only read; the table grows by a day of every cell a day.
ALTER TABLE cell_day SET (
    autovacuum_vacuum_scale_factor = 0.01,
    autovacuum_vacuum_insert_scale_factor = 0.02,
    autovacuum_analyze_scale_factor = 0.02
);

-- Only ever added to: fresh figures for the planner, and pages marked as visible for counts.
ALTER TABLE told SET (autovacuum_vacuum_insert_scale_factor = 0.02, autovacuum_analyze_scale_factor = 0.02);
ALTER TABLE event SET (autovacuum_vacuum_insert_scale_factor = 0.02, autovacuum_analyze_scale_factor = 0.02);

-- A handful of rows that every worker updates many times a minute: a few hundred dead versions make each update
-- slower than the work it counts.
ALTER TABLE tally SET (fillfactor = 20, autovacuum_vacuum_scale_factor = 0, autovacuum_vacuum_threshold = 200);
ALTER TABLE bucket SET (fillfactor = 20, autovacuum_vacuum_scale_factor = 0, autovacuum_vacuum_threshold = 200);
ALTER TABLE budget SET (fillfactor = 20, autovacuum_vacuum_scale_factor = 0, autovacuum_vacuum_threshold = 200);
ALTER TABLE night_shard SET (fillfactor = 50, autovacuum_vacuum_scale_factor = 0.02);
ALTER TABLE meta SET (fillfactor = 20, autovacuum_vacuum_scale_factor = 0, autovacuum_vacuum_threshold = 200);
