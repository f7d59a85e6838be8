"""The twin: radios on dummy loads, modelled, with faults to inject; they speak the contract as nodes do."""
