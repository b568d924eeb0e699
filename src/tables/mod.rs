//! Named columns in and out: CSV, Parquet. The only folder that knows polars; no physics.
