"""What a drug or gas is doing in the body: compartments, effect site, inhaled agents. Predictions of populations, never readings.

Nothing is gathered here: whoever reads the tables alone, as every start does, does not wait for numpy.
"""
