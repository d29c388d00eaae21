"""The DuckDB file and the published copies of its tables; the only place that speaks SQL."""
