//! The adapter's sensors: noise, steps, a wrong zero, a drifting gyro.
//!
//! Knows nothing of where torque and angle come from.

use super::Rng;

/// What the adapter measured at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BenchSample {
    /// Since the bench was set up, s.
    pub time_s: f64,
    /// N·m, positive tightening.
    pub torque_Nm: f64,
    /// The adapter's own rotation, degrees, positive tightening; wind-up of the train and back-swing included.
    pub angle_deg: f64,
}

/// How well the adapter measures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AdapterModel {
    /// Samples a second.
    pub rate_Hz: f64,
    /// Standard deviation of the torque noise, N·m.
    pub torque_noise_Nm: f64,
    /// Smallest torque step, N·m.
    pub torque_step_Nm: f64,
    /// Wrong zero, standard deviation from adapter to adapter, N·m.
    pub zero_Nm: f64,
    /// Wrong scale, standard deviation from adapter to adapter, as a fraction.
    pub scale: f64,
    /// Standard deviation of the angle noise, degrees.
    pub angle_noise_deg: f64,
    /// Smallest angle step, degrees.
    pub angle_step_deg: f64,
    /// Gyro bias, standard deviation from adapter to adapter, degrees a second.
    pub gyro_bias_deg_per_s: f64,
}

impl AdapterModel {
    /// A sound adapter for jobs about a torque: noise 0.1 % of it, steps of 0.01 N·m and 0.01°, gyro bias 0.02 °/s, 500 samples a second.
    #[must_use]
    pub fn about(target_Nm: f64) -> Self {
        Self {
            rate_Hz: 500.0,
            torque_noise_Nm: 0.001 * target_Nm,
            torque_step_Nm: if target_Nm < 5.0 { 0.001 } else { 0.01 },
            zero_Nm: 0.0005 * target_Nm,
            scale: 0.003,
            angle_noise_deg: 0.03,
            angle_step_deg: 0.01,
            gyro_bias_deg_per_s: 0.02,
        }
    }

    /// An adapter that measures the truth, for tests of the metal alone.
    #[must_use]
    pub fn perfect(rate_Hz: f64) -> Self {
        Self {
            rate_Hz,
            torque_noise_Nm: 0.0,
            torque_step_Nm: 0.0,
            zero_Nm: 0.0,
            scale: 0.0,
            angle_noise_deg: 0.0,
            angle_step_deg: 0.0,
            gyro_bias_deg_per_s: 0.0,
        }
    }
}

/// One adapter taken from the shelf.
#[derive(Debug, Clone)]
pub(super) struct Sensor {
    model: AdapterModel,
    zero_Nm: f64,
    gain: f64,
    bias_deg_per_s: f64,
    drift_deg: f64,
    rng: Rng,
}

impl Sensor {
    pub(super) fn new(model: AdapterModel, mut rng: Rng) -> Self {
        let zero_Nm = rng.about(0.0, model.zero_Nm);
        let gain = rng.about(1.0, model.scale);
        let bias_deg_per_s = rng.about(0.0, model.gyro_bias_deg_per_s);
        Self {
            model,
            zero_Nm,
            gain,
            bias_deg_per_s,
            drift_deg: 0.0,
            rng,
        }
    }

    /// Period between samples, s.
    pub(super) fn period_s(&self) -> f64 {
        1.0 / self.model.rate_Hz
    }

    /// Time passes between pulls: the gyro drifts on.
    pub(super) fn pass(&mut self, seconds: f64) {
        self.drift_deg += self.bias_deg_per_s * seconds;
    }

    /// Measures.
    pub(super) fn measure(&mut self, time_s: f64, torque_Nm: f64, angle_deg: f64) -> BenchSample {
        self.pass(self.period_s());
        let torque = torque_Nm * self.gain
            + self.zero_Nm
            + self.model.torque_noise_Nm * self.noise(self.model.torque_noise_Nm);
        let angle = angle_deg
            + self.drift_deg
            + self.model.angle_noise_deg * self.noise(self.model.angle_noise_deg);
        BenchSample {
            time_s,
            torque_Nm: step(torque, self.model.torque_step_Nm),
            angle_deg: step(angle, self.model.angle_step_deg),
        }
    }

    fn noise(&mut self, size: f64) -> f64 {
        if size > 0.0 { self.rng.normal() } else { 0.0 }
    }
}

fn step(value: f64, step: f64) -> f64 {
    if step > 0.0 {
        (value / step).round() * step
    } else {
        value
    }
}
