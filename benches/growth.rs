//! How time and memory grow with the number of dies (4-port, 201 points, a file of its own for each),
//! with all outputs, and with the tables of all points.
//!
//! `FOURPHASE_DIES=1000,10000,100000 cargo bench --bench growth` takes a few minutes and 8 GB of disk.
#![allow(missing_docs, clippy::unwrap_used)]

mod command;
mod ratio;

use command::{make_lot, measured_lot};

fn main() {
    let asked = std::env::var("FOURPHASE_DIES").unwrap_or_else(|_| "1000,4000".to_owned());
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    println!("   dies  seconds  ms/die  memory MB  with points: seconds  memory MB  file MB");
    let mut rows: Vec<(f64, f64, f64)> = Vec::new();
    for dies in asked.split(',') {
        make_lot(path, dies);
        let recipe = format!("{dies}/recipe.toml");
        // The first run finds the files in memory, as the second does.
        let (plain, plain_kb) = measured_lot(path, &recipe, "2", &[]);
        let (points, points_kb) = measured_lot(path, &recipe, "2", &["--points", "parquet"]);
        let file = path.join("out/points.parquet").metadata().unwrap().len();
        let count: f64 = dies.parse().unwrap();
        #[expect(clippy::cast_precision_loss, reason = "a file is far smaller than 2^53 bytes")]
        let file_mb = file as f64 / 1e6;
        println!(
            "{dies:>7} {plain:>8.2} {:>7.3} {:>10.1} {points:>21.2} {:>10.1} {file_mb:>8.1}",
            plain / count * 1e3,
            plain_kb / 1024.0,
            points_kb / 1024.0
        );
        rows.push((count, plain, plain_kb * 1024.0));
        std::fs::remove_dir_all(path.join(dies)).unwrap();
    }
    if let [first, .., last] = rows.as_slice() {
        let bytes = (last.2 - first.2) / (last.0 - first.0);
        println!("memory grows by {bytes:.0} bytes a die (aim: at most 200)");
        let growth = (first.1 / first.0) / (last.1 / last.0);
        ratio::report("time a die of the smallest lot over that of the largest", growth, 0.9);
    }
}
