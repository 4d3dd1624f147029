/* The tables of DIR/rootward.db. Append-only: triggers against accidents, the hash chain as evidence. */
#ifndef ROOTWARD_SCHEMA_H
#define ROOTWARD_SCHEMA_H

#define RW_SCHEMA_APPLICATION "1380929364" /* "ROOT" as a number */
#define RW_SCHEMA_VERSION     "1"

/* One transaction that makes an empty file a Rootward database. */
extern const char rw_schema_sql[];
/* The index by subject, which older files of this version lack. */
extern const char rw_schema_index_sql[];

#endif
