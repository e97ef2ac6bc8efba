"""Planning: is the pump big enough, which pressure and speed give the rate, how much product goes into the tank."""
