"""What others see and ask of a running daemon: messages, sockets, keys, metrics. Measures nothing."""
