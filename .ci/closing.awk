# Of the output of go test -v: for a package that passed its closing line, for
# one that failed all it said but the noise of tests that began and passed.
/^ok[ \t]/ || /^\?[ \t]/ || /no test files/ { print; kept = ""; fflush(); next }
/^FAIL[ \t]/ { printf "%s", kept; print; kept = ""; fflush(); next }
/^(=== (RUN|PAUSE|CONT|NAME)| *--- (PASS|SKIP)|PASS$|FAIL$)/ { next }
/: \[rapid\] OK, passed/ { next }
{ kept = kept $0 "\n" }
END { printf "%s", kept }
