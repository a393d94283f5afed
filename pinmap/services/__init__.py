"""One function per thing a user does; owns transactions and access."""
