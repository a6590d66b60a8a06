"""What leaves the package: findings in figures and words, the tables behind them, stations side by side."""
