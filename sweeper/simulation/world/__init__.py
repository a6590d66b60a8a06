"""What is simulated: sky, town, hardware and the numbers of Saltmarsh, with a truth that can be read off. No wires."""
