"""Which pin meets which: proposals, edits of signals, and the ledger of fates."""
