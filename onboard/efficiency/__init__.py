"""Numbers only: blocks of columns in, figures out. No input or output, no clock, no text.

**The shape of an estimator.** Everything in this room that has state has the same small shape:

- `fold(...)` takes data in, in order of stream time: columns of samples (`t_s` first), a `Block`,
  or `SettledSeconds`. Any partition of the same stream gives the same state. A fold returns
  nothing, except a finder's: the stretches, turns or rests that ended in the data; and a filter's:
  the data without what does not count.
- One plainly named property or method gives the value: a `Figure` with its interval, a number, or
  `Unknown` with its reason; never 0 or NaN for an unknown value. `figure(covariance)` is one
  figure, `now()` the present state, `table(covariance, noise_m2ps)` a row for each of several. What
  a value needs from outside comes in this order: the covariance of the shared errors, the noise of
  the velocity, the time.
- Nothing reads a clock or the outside: time is an argument.

Gates (`meters/`) are the one exception: `passes(...)` takes samples and returns which of them
count. The ideas behind the room are in its README, thresholds without a source in
`common_practice.py`.
"""
