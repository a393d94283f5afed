"""Engineering: the job, its facts and what is computed from them; no web, database or files."""
