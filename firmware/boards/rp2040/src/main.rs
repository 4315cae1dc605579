//! Board image, not written yet.
#![no_std]
#![no_main]
