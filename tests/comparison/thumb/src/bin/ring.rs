//! The probe that weighs the plain ring.

#![no_std]
#![no_main]

comparison_thumb::probe!(comparison_stores::ring::Ring<comparison_thumb::Unknown>);
