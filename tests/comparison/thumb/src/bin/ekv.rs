//! The probe that weighs `ekv`.

#![no_std]
#![no_main]

comparison_thumb::probe!(comparison_stores::ekv::Ekv<comparison_thumb::Unknown>);
