"""Files in and out; one format a module, one column list for both ways."""
