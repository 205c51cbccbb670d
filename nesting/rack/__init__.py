"""The rack: leftovers kept, taken, cut and put back, in one SQLite file or a PostgreSQL database.

SQLAlchemy is imported here only.  `store.open_rack` is the door; what comes out are the frozen values of `piece`.
"""
