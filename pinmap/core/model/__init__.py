"""The job as frozen records: pinouts, looms, signals, parts, options, load cases."""
