/* What docs/challenge.md's client in C asks for: writes the answer's members, without braces. */
void decode(const char *bits, char *answer);
