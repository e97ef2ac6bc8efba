"""The pages before the job: which rate, speed and pressure go together, is the pump big enough, what goes in."""
