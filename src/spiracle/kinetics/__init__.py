"""What a drug or gas is doing in the body: compartments, effect site, inhaled agents. Predictions of populations, never readings."""
