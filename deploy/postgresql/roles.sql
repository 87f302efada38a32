-- Roles for a book on PostgreSQL 15 or newer. Run once as the server's administrator:
--   psql -f roles.sql
-- paneltide owns the book and its schema: ingest, watch and dashboard connect as it, and `paneltide migrate`
-- makes and changes the tables. paneltide_reader may look at everything and change nothing: for reports.

CREATE ROLE paneltide LOGIN;
CREATE ROLE paneltide_reader NOLOGIN;
CREATE DATABASE paneltide OWNER paneltide ENCODING 'UTF8' TEMPLATE template0;

\connect paneltide

REVOKE ALL ON DATABASE paneltide FROM PUBLIC;
REVOKE CREATE ON SCHEMA public FROM PUBLIC;
GRANT CONNECT ON DATABASE paneltide TO paneltide, paneltide_reader;
GRANT USAGE, CREATE ON SCHEMA public TO paneltide;
GRANT USAGE ON SCHEMA public TO paneltide_reader;
ALTER DEFAULT PRIVILEGES FOR ROLE paneltide IN SCHEMA public GRANT SELECT ON TABLES TO paneltide_reader;
