//! A model: uncertain inputs, and the operations that lead from them to the outputs.

use super::curve::Curve;
use super::elementary::exp;
use super::marginal::{Drawn, Marginal};
use super::plan::{Plan, Workspace};
use super::threads::share_out;
use super::uniform::Uniforms;
use super::{LANES, Lanes, Scratch};
use crate::statistics::StatisticsError;
use std::num::NonZero;

/// From here on a chi-square over its degrees of freedom is taken as 1, which narrows a 95 %
/// interval by less than 1 part in 80,000.
const NORMAL_FROM_DEGREES_OF_FREEDOM: f64 = 100_000.0;

/// Curves from which on a second thread is sooner than the first alone.
const CURVES_WORTH_THREADS: usize = 6;

/// A pivot of the covariance this much below its diagonal is rounding: the estimates are
/// linearly dependent.
const DEPENDENT: f64 = 1e-12;

/// A value of a model under construction.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Value(pub(super) usize);

#[derive(Debug, Clone)]
pub(super) enum Node {
    Constant(f64),
    Input(usize),
    /// Terms with their signs.
    Sum(Vec<(f64, Value)>),
    Product(Vec<Value>),
    Quotient(Value, Value),
    /// Value, lowest, highest.
    Bounded(Value, Value, Value),
}

/// Inputs that are drawn together, apart from all other groups.
#[derive(Debug, Clone)]
pub(super) struct Group<S = Source> {
    source: S,
    pub first_input: usize,
    pub members: usize,
    /// Dimension of its first random number; each has one for every member, a Student t one more.
    first_dimension: u32,
    pub degrees_of_freedom: f64,
}

/// Inputs as they were stated, not yet ready to be drawn from.
#[derive(Debug)]
pub(super) enum Stated {
    Single(Marginal),
    Joint {
        means: Vec<f64>,
        factor: Vec<Vec<f64>>,
        degrees_of_freedom: f64,
    },
}

impl Stated {
    fn compile(self) -> Source {
        match self {
            Stated::Single(marginal) => Source::Single(marginal.compile()),
            Stated::Joint {
                means,
                factor,
                degrees_of_freedom,
            } => Source::Joint {
                means,
                factor,
                spread: (degrees_of_freedom < NORMAL_FROM_DEGREES_OF_FREEDOM)
                    .then(|| Curve::chi_square(degrees_of_freedom)),
            },
        }
    }

    /// Whether a curve must be tabled, the only work of compiling that is worth a thread.
    fn has_curve(&self) -> bool {
        match self {
            Stated::Single(marginal) => matches!(marginal, Marginal::Beta { .. }),
            Stated::Joint {
                degrees_of_freedom, ..
            } => *degrees_of_freedom < NORMAL_FROM_DEGREES_OF_FREEDOM,
        }
    }
}

#[derive(Debug, Clone)]
pub(super) enum Source {
    Single(Drawn),
    Joint {
        means: Vec<f64>,
        /// Lower triangle of the Cholesky factor, line by line.
        factor: Vec<Vec<f64>>,
        /// `ln(chi^2 / df)`; none where the estimates are normal.
        spread: Option<Curve>,
    },
}

/// Collects inputs and operations.
#[derive(Debug, Default)]
pub struct ModelBuilder {
    nodes: Vec<Node>,
    groups: Vec<Group<Stated>>,
    inputs: usize,
    dimensions: u32,
}

impl ModelBuilder {
    pub fn constant(&mut self, value: f64) -> Value {
        self.node(Node::Constant(value))
    }

    /// An input independent of all others: a group of its own, in the order of the calls.
    pub fn independent(&mut self, marginal: Marginal) -> Result<Value, StatisticsError> {
        marginal.check()?;
        Ok(Value(self.group(
            Stated::Single(marginal),
            1,
            1,
            f64::INFINITY,
        )))
    }

    /// Estimates of one sample: jointly Student's t around `means`, one chi-square for them all.
    ///
    /// `covariance` is the estimated one of the means, as a t interval takes it; infinite degrees
    /// of freedom give the multivariate normal.
    pub fn joint(
        &mut self,
        means: &[f64],
        covariance: &[Vec<f64>],
        degrees_of_freedom: f64,
    ) -> Result<Vec<Value>, StatisticsError> {
        if degrees_of_freedom.is_nan() || degrees_of_freedom <= 0.0 {
            return Err(StatisticsError::DegreesOfFreedom(degrees_of_freedom));
        }
        let size = means.len();
        let square = covariance.len() == size && covariance.iter().all(|line| line.len() == size);
        let finite = |values: &[f64]| values.iter().all(|value| value.is_finite());
        if size == 0 || !square || !finite(means) || !covariance.iter().all(|line| finite(line)) {
            return Err(StatisticsError::Spread(
                "the covariance does not fit the estimates",
            ));
        }
        let source = Stated::Joint {
            means: means.to_vec(),
            factor: cholesky(covariance)?,
            degrees_of_freedom,
        };
        let first = self.group(source, size, size as u32 + 1, degrees_of_freedom);
        Ok((first..first + size).map(Value).collect())
    }

    /// `sum of sign * value`, each sign `1` or `-1`.
    pub fn sum(&mut self, terms: &[(f64, Value)]) -> Value {
        self.node(Node::Sum(terms.to_vec()))
    }

    pub fn product(&mut self, factors: &[Value]) -> Value {
        self.node(Node::Product(factors.to_vec()))
    }

    pub fn quotient(&mut self, above: Value, below: Value) -> Value {
        self.node(Node::Quotient(above, below))
    }

    pub fn bounded(&mut self, value: Value, lowest: Value, highest: Value) -> Value {
        self.node(Node::Bounded(value, lowest, highest))
    }

    /// Plans the computation of `outputs`; what they do not need is left out.
    pub fn compile(self, outputs: &[Value]) -> Model {
        let plan = Plan::new(&self.nodes, self.inputs, outputs);
        Model {
            groups: compiled(self.groups),
            dimensions: self.dimensions,
            plan,
        }
    }

    fn node(&mut self, node: Node) -> Value {
        self.nodes.push(node);
        Value(self.nodes.len() - 1)
    }

    /// Adds a group with its input nodes; the place of the first of them.
    fn group(
        &mut self,
        source: Stated,
        members: usize,
        dimensions: u32,
        degrees_of_freedom: f64,
    ) -> usize {
        self.groups.push(Group {
            source,
            first_input: self.inputs,
            members,
            first_dimension: self.dimensions,
            degrees_of_freedom,
        });
        self.dimensions += dimensions;
        let first = self.nodes.len();
        for _ in 0..members {
            self.nodes.push(Node::Input(self.inputs));
            self.inputs += 1;
        }
        first
    }
}

/// The groups ready to be drawn from; many curves are tabled on all processors.
fn compiled(groups: Vec<Group<Stated>>) -> Vec<Group> {
    let curves = groups.iter().filter(|group| group.source.has_curve());
    let threads = match curves.count() {
        0..CURVES_WORTH_THREADS => NonZero::<usize>::MIN,
        _ => std::thread::available_parallelism().unwrap_or(NonZero::<usize>::MIN),
    };
    let mut ready: Vec<Option<Group>> = groups.iter().map(|_| None).collect();
    let pieces = groups.into_iter().zip(&mut ready).collect();
    share_out(
        pieces,
        threads,
        || (),
        |(), _, (group, ready): (Group<Stated>, &mut Option<Group>)| {
            *ready = Some(Group {
                source: group.source.compile(),
                first_input: group.first_input,
                members: group.members,
                first_dimension: group.first_dimension,
                degrees_of_freedom: group.degrees_of_freedom,
            });
        },
    );
    ready.into_iter().flatten().collect()
}

/// Lower triangle `L` with `L L' = covariance`; a dependent estimate has an empty diagonal.
fn cholesky(covariance: &[Vec<f64>]) -> Result<Vec<Vec<f64>>, StatisticsError> {
    let mut factor: Vec<Vec<f64>> = Vec::with_capacity(covariance.len());
    for (i, line) in covariance.iter().enumerate() {
        let mut row: Vec<f64> = Vec::with_capacity(i + 1);
        for (j, shared) in line.iter().enumerate().take(i + 1) {
            let earlier = factor.get(j).unwrap_or(&row);
            let known: f64 = row.iter().zip(earlier).take(j).map(|(a, b)| a * b).sum();
            let rest = shared - known;
            if i == j {
                if rest < -DEPENDENT.sqrt() * shared.abs() || *shared < 0.0 {
                    return Err(StatisticsError::Spread("the covariance is none"));
                }
                row.push(if rest <= DEPENDENT * shared {
                    0.0
                } else {
                    rest.sqrt()
                });
            } else {
                let pivot = earlier.get(j).copied().unwrap_or(0.0);
                row.push(if pivot > 0.0 { rest / pivot } else { 0.0 });
            }
        }
        factor.push(row);
    }
    Ok(factor)
}

impl Group {
    /// Fills the lanes of the members; `uniforms` gives the random numbers of one dimension.
    #[inline(always)]
    fn fill(&self, members: &mut [Lanes], scratch: &mut Scratch, uniforms: &mut impl Uniforms) {
        for (member, values) in members.iter_mut().enumerate() {
            uniforms.fill(self.first_dimension + member as u32, values);
        }
        match &self.source {
            Source::Single(drawn) => {
                for values in members {
                    drawn.fill(values, scratch);
                }
            }
            Source::Joint {
                means,
                factor,
                spread,
            } => {
                for values in members.iter_mut() {
                    scratch.normalise(values);
                }
                let mut scale = Lanes::of([1.0; LANES]);
                if let Some(curve) = spread {
                    uniforms.fill(self.first_dimension + self.members as u32, &mut scale);
                    scratch.normalise(&mut scale);
                    curve.fill(&mut scale, &mut scratch.places);
                    for value in &mut scale.0 {
                        *value = exp(-0.5 * *value);
                    }
                }
                // From the last member up, so that the standard normals above it are still there.
                for (at, (mean, line)) in means.iter().zip(factor).enumerate().rev() {
                    let mut sum = Lanes::default();
                    for (weight, normal) in line.iter().zip(members.iter()) {
                        for (sum, z) in sum.0.iter_mut().zip(&normal.0) {
                            *sum += weight * z;
                        }
                    }
                    if let Some(values) = members.get_mut(at) {
                        for ((value, sum), scale) in values.0.iter_mut().zip(&sum.0).zip(&scale.0) {
                            *value = mean + sum * scale;
                        }
                    }
                }
            }
        }
    }
}

/// A compiled model.
#[derive(Debug, Clone)]
pub struct Model {
    pub(super) groups: Vec<Group>,
    dimensions: u32,
    pub(super) plan: Plan,
}

impl Model {
    /// Groups of inputs that are drawn together.
    pub fn groups(&self) -> usize {
        self.groups.len()
    }

    /// Random numbers that one draw takes.
    pub(super) fn dimensions(&self) -> u32 {
        self.dimensions
    }

    pub fn outputs(&self) -> usize {
        self.plan.outputs.len()
    }

    /// Fewest degrees of freedom among the groups that this output depends on; a Student t has
    /// no variance at two of them or fewer, and no mean at one.
    pub fn least_degrees_of_freedom(&self, output: usize) -> f64 {
        self.groups
            .iter()
            .enumerate()
            .filter(|(group, _)| self.depends(output, *group))
            .map(|(_, group)| group.degrees_of_freedom)
            .fold(f64::INFINITY, f64::min)
    }

    /// Whether a group of inputs can move this output at all.
    pub fn depends(&self, output: usize, group: usize) -> bool {
        let Some(group) = self.groups.get(group) else {
            return false;
        };
        let inputs = group.first_input..group.first_input + group.members;
        self.plan
            .dependence
            .get(output)
            .is_some_and(|moves| inputs.clone().any(|input| moves.get(input) == Some(&true)))
    }

    /// Draws all inputs of one block and computes the outputs.
    #[inline(always)]
    pub(super) fn draw(
        &self,
        workspace: &mut Workspace,
        scratch: &mut Scratch,
        mut uniforms: impl Uniforms,
    ) {
        for group in &self.groups {
            if let Some(members) = workspace.members_mut(group) {
                group.fill(members, scratch, &mut uniforms);
            }
        }
        self.plan.compute(workspace);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A textbook factor: [[4, 12, -16], [12, 37, -43], [-16, -43, 98]] is that of
    /// [[2], [6, 1], [-8, 5, 3]] (MEMORY, checked by multiplying out).
    #[test]
    fn cholesky_of_a_textbook_matrix() {
        let matrix = [
            vec![4.0, 12.0, -16.0],
            vec![12.0, 37.0, -43.0],
            vec![-16.0, -43.0, 98.0],
        ];
        let wanted = [vec![2.0], vec![6.0, 1.0], vec![-8.0, 5.0, 3.0]];
        assert_eq!(cholesky(&matrix).unwrap(), wanted);
        let dependent = [vec![4.0, 2.0], vec![2.0, 1.0]];
        assert_eq!(cholesky(&dependent).unwrap(), [vec![2.0], vec![1.0, 0.0]]);
        assert!(cholesky(&[vec![1.0, 2.0], vec![2.0, 1.0]]).is_err());
    }
}
