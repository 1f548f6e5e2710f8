"""How do readings come in and messages go out? Decoding is pure; connecting owns sockets and ports."""
