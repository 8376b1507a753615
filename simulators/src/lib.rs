//! A physical model of tun and kettle, and instruments that serve it.
